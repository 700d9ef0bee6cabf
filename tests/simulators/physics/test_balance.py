from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from simulators.physics.balance import Balance, BalanceInputs, BalanceOutput, Scale
from simulators.physics.transducer import PressureCell, Transducer
from simulators.scenarios import BENCH_BALANCE, PLATFORM

TICK_S = 0.05
QUIET = replace(
    PLATFORM,
    white_sd_g=0.0,
    flicker_rms_g=0.0,
    drift_g_per_min=0.0,
    jet_noise_g_per_kpa=0.0,
    wobble1_g_per_kpa=0.0,
    wobble2_g_per_kpa=0.0,
    readability_g=1e-6,
)


def a_balance(spec: Scale = BENCH_BALANCE, seed: int = 0) -> Balance:
    return Balance(spec, np.random.default_rng(seed))


def watch(subject: Balance, inputs: BalanceInputs, since_s: float, seconds: float) -> list[BalanceOutput]:
    steps = round(seconds / TICK_S)
    return [subject.update(since_s + TICK_S * (k + 1), inputs) for k in range(steps)]


def test_a_mass_put_on_settles_and_then_shows_stable() -> None:
    outs = watch(a_balance(), BalanceInputs(386.214), 0.0, 12.0)
    assert not outs[5].stable
    assert outs[-1].stable
    assert outs[-1].mass_g == pytest.approx(386.214, abs=0.004)
    first_stable = next(k for k, out in enumerate(outs) if out.stable and k > 5)
    assert outs[first_stable].mass_g == pytest.approx(386.214, abs=0.006)
    assert 2.0 < first_stable * TICK_S < 8.0


def test_readings_are_whole_digits() -> None:
    for out in watch(a_balance(), BalanceInputs(123.4567), 0.0, 5.0):
        assert out.mass_g / 0.001 == pytest.approx(round(out.mass_g / 0.001), abs=1e-6)
        assert out.digit_g == 0.001


def test_tare_makes_what_is_shown_zero_and_hides_the_dead_load() -> None:
    subject = a_balance(PLATFORM)
    assert watch(subject, BalanceInputs(0.0), 0.0, 2.0)[-1].mass_g == pytest.approx(0.0, abs=0.04)
    watch(subject, BalanceInputs(436.0), 2.0, 8.0)
    subject.tare()
    assert watch(subject, BalanceInputs(436.0), 10.0, 2.0)[-1].mass_g == pytest.approx(0.0, abs=0.05)
    assert watch(subject, BalanceInputs(0.0), 12.0, 8.0)[-1].mass_g == pytest.approx(-436.0, abs=0.05)


def test_the_dead_load_counts_towards_the_capacity() -> None:
    room_g = PLATFORM.capacity_g - PLATFORM.dead_load_g
    assert watch(a_balance(PLATFORM), BalanceInputs(room_g - 10), 0.0, 10.0)[-1].state == "ok"
    assert watch(a_balance(PLATFORM), BalanceInputs(room_g + 10), 0.0, 10.0)[-1].state == "overload"


def test_far_below_zero_is_underload() -> None:
    subject = a_balance()
    watch(subject, BalanceInputs(100.0), 0.0, 8.0)
    subject.tare()
    assert watch(subject, BalanceInputs(0.0), 8.0, 8.0)[-1].state == "underload"


def settled_g(spec: Scale, dp_pa: float) -> float:
    return watch(a_balance(spec), BalanceInputs(0.0, dp_pa), 0.0, 10.0)[-1].mass_g


@pytest.mark.parametrize("dp_pa", [1000.0, 2000.0, 4000.0])
def test_coupling_is_linear_in_the_pressure(dp_pa: float) -> None:
    straight = replace(QUIET, coupling2_g_per_kpa2=0.0)
    assert settled_g(straight, dp_pa) == pytest.approx(0.35 * dp_pa / 1000.0, abs=1e-5)


def test_coupling_has_its_curvature() -> None:
    assert settled_g(QUIET, 4000.0) == pytest.approx(0.35 * 4 + 0.015 * 16, abs=1e-5)


def test_a_bench_balance_does_not_feel_the_jet() -> None:
    quiet = replace(BENCH_BALANCE, white_sd_g=0.0, flicker_rms_g=0.0, drift_g_per_min=0.0)
    assert settled_g(quiet, 2500.0) == 0.0


def test_the_nozzle_wobbles_at_once_and_twice_per_turn() -> None:
    spec = replace(QUIET, coupling_g_per_kpa=0.0, coupling2_g_per_kpa2=0.0, filter_s=1e-6)
    spec = replace(spec, wobble1_g_per_kpa=0.02, wobble2_g_per_kpa=0.01)
    subject = a_balance(spec)
    x = [
        subject.update((k + 1) * TICK_S, BalanceInputs(0.0, 2500.0, (k + 1) * TICK_S / 3.0)).mass_g
        for k in range(6000)
    ]
    amplitude = 2.0 * np.abs(np.fft.rfft(x)) / 6000
    assert amplitude[100] == pytest.approx(0.05, rel=1e-3)
    assert amplitude[200] == pytest.approx(0.025, rel=1e-3)


def test_white_noise_and_drift_are_as_asked_for() -> None:
    noisy = replace(QUIET, white_sd_g=0.01)
    x = np.array([out.mass_g for out in watch(a_balance(noisy), BalanceInputs(0.0), 0.0, 200.0)])
    assert x.std() == pytest.approx(0.01, rel=0.1)
    drifting = replace(QUIET, drift_g_per_min=0.03)
    assert watch(a_balance(drifting), BalanceInputs(0.0), 0.0, 600.0)[-1].mass_g == pytest.approx(
        0.3, rel=1e-6
    )


def test_a_bump_dies_away_and_its_shift_stays() -> None:
    subject = a_balance(QUIET)
    watch(subject, BalanceInputs(100.0), 0.0, 10.0)
    subject.bump(20.0, 0.5)
    outs = watch(subject, BalanceInputs(100.0), 10.0, 15.0)
    assert max(out.mass_g for out in outs) > 105.0
    assert any(not out.stable for out in outs)
    assert outs[-1].mass_g == pytest.approx(100.5, abs=1e-4)


def test_the_same_calls_give_the_same_bits() -> None:
    first = watch(a_balance(PLATFORM, 7), BalanceInputs(50.0, 2500.0), 0.0, 20.0)
    second = watch(a_balance(PLATFORM, 7), BalanceInputs(50.0, 2500.0), 0.0, 20.0)
    assert first == second
    assert first != watch(a_balance(PLATFORM, 8), BalanceInputs(50.0, 2500.0), 0.0, 20.0)


def test_the_transducer_is_late_off_zero_and_noisy() -> None:
    subject = PressureCell(Transducer(lag_s=0.5, zero_pa=4.0, noise_pa=1.0), np.random.default_rng(0))
    outs = [subject.update(TICK_S * (k + 1), 2500.0) for k in range(400)]
    assert outs[9].dp_pa == pytest.approx(2500 * (1 - np.exp(-1.0)) + 4.0, abs=5.0)
    assert not outs[9].steady
    late = np.array([out.dp_pa for out in outs[200:]])
    assert late.mean() == pytest.approx(2504.0, abs=0.5)
    assert late.std() == pytest.approx(1.0, rel=0.2)
    assert outs[-1].steady
