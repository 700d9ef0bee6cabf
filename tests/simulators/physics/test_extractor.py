from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from simulators.physics.extractor import (
    Extractor,
    ExtractorInputs,
    Suction,
    operating_point,
    sieve_k,
    valve_for,
)

SPEC = Extractor()
QUIET = Extractor(ripple=0.0, nozzle_ripple=0.0, filter_gain_per_h=0.0)
ON = ExtractorInputs(on=True, valve=0.5, sieve_closed=True)


def run(subject: Suction, inputs: ExtractorInputs, until_s: float, since_s: float = 0.0) -> list[float]:
    times = np.arange(since_s + 0.05, until_s + 1e-9, 0.05)
    return [subject.update(float(t_s), inputs).dp_pa for t_s in times]


@given(k=st.floats(0.05, 20), speed=st.floats(0.05, 1), filter_pa=st.floats(0, 200))
@settings(deadline=None, max_examples=60)
def test_the_operating_point_is_where_fan_and_openings_agree(
    k: float, speed: float, filter_pa: float
) -> None:
    """Root of the same balance, found by bracketing with SciPy."""

    def excess(flow: float) -> float:
        fan = SPEC.shut_off_pa * speed**2 - SPEC.slope_pa_per_m3h * speed * flow
        return fan - SPEC.curve_pa_per_m3h2 * flow**2 - filter_pa * flow - (flow / k) ** 2

    flow = brentq(excess, 0.0, 1000.0, xtol=1e-12)
    dp_pa, ours = operating_point(SPEC, speed, filter_pa, k)
    assert ours == pytest.approx(flow, rel=1e-6)
    assert dp_pa == pytest.approx((flow / k) ** 2, rel=1e-6)


def test_the_fan_follows_its_pump_curve() -> None:
    """Shut off, 20 kPa; without any resistance, 180 m3/h: usual figures of a dust extractor."""
    shut, _ = operating_point(SPEC, 1.0, 0.0, 1e-6)
    _, free = operating_point(SPEC, 1.0, 0.0, 1e4)
    assert shut == pytest.approx(20_000.0, rel=1e-3)
    assert free == pytest.approx(180.0, rel=0.01)
    for k in (0.5, 1.0, 3.0):
        dp_pa, flow = operating_point(SPEC, 1.0, 0.0, k)
        assert dp_pa == pytest.approx(20_000 - 40 * flow - 0.395 * flow**2, rel=1e-9)


@pytest.mark.parametrize("dp_pa", [1500.0, 2500.0, 4000.0])
def test_the_valve_sets_the_pressure(dp_pa: float) -> None:
    valve = valve_for(SPEC, dp_pa, SPEC.filter_pa_per_m3h, sieve_k(SPEC, 1.0))
    openings = sieve_k(SPEC, 1.0) + SPEC.bleed_k * valve
    assert operating_point(SPEC, 1.0, SPEC.filter_pa_per_m3h, openings)[0] == pytest.approx(dp_pa, rel=1e-9)
    assert 0 < valve < 1


def test_flow_through_the_sieve_is_of_the_usual_size() -> None:
    """30 to 100 m3/h are common practice."""
    assert 30 <= sieve_k(SPEC, 1.0) * np.sqrt(2500.0) <= 100


def test_a_blinded_mesh_raises_the_pressure_and_a_leak_lowers_it() -> None:
    def settled(inputs: ExtractorInputs) -> float:
        return run(Suction(QUIET, np.random.default_rng(0)), inputs, 20.0)[-1]

    plain = settled(ON)
    assert settled(ExtractorInputs(on=True, valve=0.5, sieve_closed=True, open_share=0.3)) > 1.05 * plain
    assert settled(ExtractorInputs(on=True, valve=0.5, sieve_closed=True, leak=0.3)) < 0.85 * plain
    assert settled(ExtractorInputs(on=True, valve=0.5, sieve_closed=False)) < 0.15 * plain
    assert settled(ExtractorInputs(on=True, valve=0.5, sieve_closed=True, sag=0.3)) == pytest.approx(
        0.7 * plain
    )


def test_a_loading_filter_lets_the_pressure_fall() -> None:
    subject = Suction(
        Extractor(ripple=0.0, nozzle_ripple=0.0, filter_gain_per_g=0.01), np.random.default_rng(0)
    )
    before = run(subject, ON, 20.0)[-1]
    loaded = ExtractorInputs(on=True, valve=0.5, sieve_closed=True, passed_g=60.0)
    assert run(subject, loaded, 40.0, 20.0)[-1] < 0.97 * before


def test_pressure_rises_and_falls_with_the_fan() -> None:
    subject = Suction(QUIET, np.random.default_rng(0))
    rise = run(subject, ON, 15.0)
    assert rise[0] < 0.05 * rise[-1]
    assert np.all(np.diff(rise) >= 0)
    fall = run(subject, ExtractorInputs(on=False, valve=0.5, sieve_closed=True), 30.0, 15.0)
    assert fall[-1] < 5.0
    below_50_s = next(k for k, dp_pa in enumerate(fall) if dp_pa < 50.0) * 0.05
    assert 3.0 < below_50_s < 10.0


def test_ripple_is_one_to_three_percent_and_has_the_nozzle_in_it() -> None:
    subject = Suction(Extractor(), np.random.default_rng(3))
    dp_pa = np.array(run(subject, ON, 320.0)[400:])
    assert 0.01 < dp_pa.std() / dp_pa.mean() < 0.03
    power = np.abs(np.fft.rfft(dp_pa - dp_pa.mean())) ** 2
    f_hz = np.fft.rfftfreq(len(dp_pa), 0.05)
    once = int(np.argmin(np.abs(f_hz - 20.0 / 60.0)))
    around = np.r_[power[once - 12 : once - 3], power[once + 4 : once + 13]]
    assert power[once - 1 : once + 2].max() > 20 * around.mean()


def test_the_nozzle_stands_while_suction_is_off() -> None:
    subject = Suction(SPEC, np.random.default_rng(0))
    assert subject.update(30.0, ON).nozzle_turns == pytest.approx(10.0)
    off = ExtractorInputs(on=False, valve=0.5, sieve_closed=True)
    assert subject.update(60.0, off).nozzle_turns == pytest.approx(10.0)
