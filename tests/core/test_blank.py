"""The blank run: what was put in comes out, within what it claims; a bad run is refused with its reason."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from logger.core.blank import analyse_blank, blank_plan, nozzle_rpm, pressure_levels, rig_file_lines
from logger.core.rig import Rig
from logger.core.trace import Trace
from logger.settings import load_rig
from tests.endpoint_traces import flicker

DP0, BAND = 2500.0, 250.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    coupling: float = 0.6
    curvature: float = 0.015
    white_g: float = 0.002
    flicker_g: float = 0.002
    wobble_g: float = 0.01
    rpm: float = 22.4
    hz: float = 8.0
    digit_g: float = 0.001
    drift_g_s: float = 0.0
    hold_s: float = 100.0
    rub_g: float = 0.0


def blank_run(seed: int, bench: Bench, pressures: list[float] | None = None) -> Trace:
    rng = np.random.default_rng(seed)
    steps = pressures if pressures is not None else [s.dp_pa for s in blank_plan(DP0, BAND)][1:]
    t = np.arange(-60.0, bench.hold_s * len(steps), 1 / bench.hz)
    t = t + rng.uniform(-0.1, 0.1, t.size) / bench.hz
    wanted = np.where(
        t < 0, 0.0, np.array([*steps, steps[-1]])[np.clip(t // bench.hold_s, 0, len(steps)).astype(int)]
    )
    dp = np.empty_like(t)
    level = 0.0
    for i, goal in enumerate(wanted):
        level += (goal - level) * (1 - math.exp(-1 / bench.hz / 1.5))
        dp[i] = level
    dp = dp * (1 + 0.008 * rng.normal(size=t.size))
    kpa = dp / 1000
    turn = 2 * np.pi * bench.rpm / 60 * t
    mass = bench.coupling * kpa + bench.curvature * kpa**2 + bench.drift_g_s * t
    mass = mass + bench.wobble_g * (np.sin(turn) + 0.4 * np.sin(2 * turn + 1)) * (t > 0)
    mass = mass + bench.white_g * rng.normal(size=t.size) + flicker(rng, t.size, bench.hz, bench.flicker_g)
    mass = mass + bench.rub_g * np.sign(np.sin(t / 37.0)) * (t > 0)
    return Trace("blank", t, np.round(mass / bench.digit_g) * bench.digit_g, dp, np.ones(t.size, bool), {})


def test_measures_what_was_put_in_within_its_uncertainty() -> None:
    bench = Bench()
    local = bench.coupling + 2 * bench.curvature * DP0 / 1000
    errors, flickers, whites = [], [], []
    for seed in range(12):
        report = analyse_blank(blank_run(seed, bench), DP0, BAND)
        assert report.accepted, report.problems
        assert report.rig is not None
        assert report.coupling_at_nominal_g_per_kpa is not None
        assert report.coupling_u_g_per_kpa is not None
        errors.append((report.coupling_at_nominal_g_per_kpa - local) / report.coupling_u_g_per_kpa)
        flickers.append(report.rig.flicker_rms_g or 0.0)
        whites.append(report.rig.white_sd_g or 0.0)
        assert report.rig.nozzle_rpm == pytest.approx(bench.rpm, abs=0.05)
        assert report.rig.sample_hz == pytest.approx(bench.hz, rel=0.05)
        assert report.rig.readability_g == bench.digit_g
    assert 0.4 < float(np.sqrt(np.mean(np.square(errors)))) < 1.6
    assert float(np.median(flickers)) == pytest.approx(bench.flicker_g, rel=0.5)
    assert float(np.median(whites)) == pytest.approx(bench.white_g, rel=0.4)


def test_rig_file_can_be_read_back(tmp_path: Path) -> None:
    report = analyse_blank(
        blank_run(3, Bench()), DP0, BAND, balance_id="B7", measured_at="2026-01-02T03:04:05Z"
    )
    assert report.rig is not None
    path = tmp_path / "rig.toml"
    path.write_text("\n".join(rig_file_lines(report.rig, report.notes)) + "\n")
    assert load_rig(path) == report.rig


def test_plan_covers_the_band_both_ways_and_lasts_ten_minutes() -> None:
    plan = blank_plan(DP0, BAND)
    assert sum(step.hold_s for step in plan if step.dp_pa > 0) >= 600
    pressures = [step.dp_pa for step in plan[1:]]
    assert min(pressures) == DP0 - 0.9 * BAND
    assert max(pressures) == DP0 + 0.9 * BAND


@pytest.mark.parametrize(
    ("bench", "pressures", "said"),
    [
        (Bench(hold_s=30.0), None, "are too short"),
        (Bench(), [2500.0] * 6, "level(s) only"),
        (Bench(), [2450.0, 2500.0, 2560.0, 2500.0, 2450.0, 2560.0], "go nearer to"),
        (Bench(), [900.0] * 6, "no readings of mass and pressure together"),
        (Bench(coupling=1.8), None, "more than 1.5"),
        (Bench(flicker_g=0.08), None, "is uncertain by"),
        (Bench(drift_g_s=-0.001), None, "the mass falls by"),
    ],
)
def test_a_bad_blank_run_is_refused_with_its_reason(
    bench: Bench, pressures: list[float] | None, said: str
) -> None:
    report = analyse_blank(blank_run(5, bench, pressures), DP0, BAND)
    assert not report.accepted
    assert any(said in problem for problem in report.problems), report.problems


def test_no_nozzle_is_seen_where_there_is_none() -> None:
    trace = blank_run(4, Bench(wobble_g=0.0))
    assert nozzle_rpm(trace.t_s[trace.t_s > 0], trace.mass_g[trace.t_s > 0]) is None


def test_levels_are_told_apart() -> None:
    rng = np.random.default_rng(1)
    dp = np.concatenate([level + rng.normal(0, 5, 100) for level in (2300, 2500, 2700)])
    assert pressure_levels(dp, 250.0) == pytest.approx([2300, 2500, 2700], abs=3)


def test_rig_lines_hold_only_what_is_known() -> None:
    assert rig_file_lines(Rig(readability_g=0.01)) == ["readability_g = 0.01"]
