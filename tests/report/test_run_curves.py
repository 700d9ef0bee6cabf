"""Curves of a run: what the chart draws is what was read."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from logger.core.readings import Channel, Quality, Reading
from logger.core.run.events import EventKind as E
from logger.core.run.facts import RunFacts, fold
from logger.report.run_curves import MOST_POINTS, RunCurves, run_curves, thinned
from tests.core.run.made_runs import SECOND, end, live_method, method, planned_engine
from tests.report.sheets import live_readings, pressure_readings, reading, sheet

TIME_CONSTANT_S = 10.0
"""The load of `live_readings` is 1 g + 24 g exp(-t / 10 s) on a charge of 25 g, read 0.1 s after each quarter."""


def live(readings: list[Reading], **rig: float) -> RunCurves:
    engine = planned_engine(live_method())
    end(engine.run)
    events, facts = engine.take_events(), engine.run.facts
    if rig:
        facts.plan["rig"] = rig
    found = run_curves(facts, events, readings)
    assert found is not None
    return found


def test_live_rates_are_the_slope_of_the_load() -> None:
    """Analytic: 60 (100 x 24 / 25) exp(-t / T) / T % per minute; a wide window lifts a convex curve a little."""
    rates = [rate for rate in live(live_readings()).rates if 12 < rate.from_s < 40]
    assert len(rates) > 10
    for rate in rates:
        steep = 60 * 96 / TIME_CONSTANT_S * math.exp(-(rate.from_s - 0.1) / TIME_CONSTANT_S)
        assert rate.pct_per_min == pytest.approx(steep, rel=0.25)


def test_the_known_share_of_the_pressure_is_taken_off() -> None:
    plain, less = live(live_readings()), live(live_readings(), coupling_g_per_kpa=0.4)
    lower = [a - b for (_, a), (_, b) in zip(plain.loads[0], less.loads[0], strict=True)]
    assert np.mean(lower) == pytest.approx(100 * 0.4 * 2.5 / 25, rel=0.01)


def test_only_what_was_read_in_the_band_with_the_jet_on_is_load() -> None:
    found = live(live_readings())
    times = [t for piece in found.loads for t, _ in piece]
    assert times[0] >= 0
    assert times[-1] <= 70
    outside = [replace(r, value=2000.0) if r.channel is Channel.PRESSURE else r for r in live_readings()]
    assert live(outside).loads == ()


def test_interval_rates_are_those_between_weighings() -> None:
    found = sheet(method()).curves
    assert found is not None
    assert found.weighings == ((0.0, 100.0), (20.0, 4.0), (40.0, 3.8))
    assert [(r.from_s, r.to_s) for r in found.rates] == [(0.0, 20.0), (20.0, 40.0)]
    assert [r.pct_per_min for r in found.rates] == pytest.approx([96 / (20 / 60), 0.2 / (20 / 60)])


def test_a_gap_in_the_readings_parts_the_curve() -> None:
    readings = [
        replace(r, quality=Quality.REJECTED, value=None) if 10 * SECOND < r.at_ns < 12 * SECOND else r
        for r in pressure_readings()
        if not 20 * SECOND < r.at_ns < 30 * SECOND
    ]
    engine = planned_engine(method())
    end(engine.run)
    found = run_curves(engine.run.facts, engine.take_events(), readings)
    assert found is not None
    assert [(round(p[0][0]), round(p[-1][0])) for p in found.pressures] == [(0, 10), (12, 20), (30, 40)]


def test_without_suction_or_charge_there_is_no_curve() -> None:
    assert run_curves(RunFacts(), [], []) is None
    engine = planned_engine(method())
    end(engine.run)
    events = [e for e in engine.take_events() if e.kind in (E.RUN_PLANNED, E.CAUTIONS_ACKNOWLEDGED)]
    assert run_curves(fold(events), events, pressure_readings()) is None


def test_thinning_keeps_every_peak_and_the_order() -> None:
    times = np.arange(10_000.0)
    values = np.sin(times / 50)
    values[1234], values[8765] = 9.0, -9.0
    t, v = thinned(times, values)
    assert t.size <= MOST_POINTS
    assert (v.max(), v.min()) == (9.0, -9.0)
    assert np.all(np.diff(t) > 0)


def test_no_mass_at_all_still_gives_the_pressure() -> None:
    only = [reading(Channel.PRESSURE, i / 4, 2500.0) for i in range(200)]
    found = live(only)
    assert found.loads == ()
    assert found.rates == ()
    assert found.pressures
