from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from simulators.physics.noise import Flicker, Ripple, White

STEP_S = 0.05
WINDOW = 12_000
"""10 min at 20 Hz."""


@pytest.fixture(scope="module")
def blank_runs() -> NDArray[np.float64]:
    """Ten blank runs of 10 min of 1/f noise with an rms of 3 (any unit); shape (run, sample)."""
    runs = []
    for seed in range(10):
        subject = Flicker(3.0, np.random.default_rng(seed))
        runs.append([subject.step(STEP_S) for _ in range(WINDOW)])
    return np.array(runs)


def test_flicker_has_the_rms_asked_for_over_ten_minutes(blank_runs: NDArray[np.float64]) -> None:
    rms = float(np.sqrt(np.mean(blank_runs.var(axis=1))))
    assert rms == pytest.approx(3.0, rel=0.1)


def test_flicker_falls_as_one_over_f(blank_runs: NDArray[np.float64]) -> None:
    power = np.mean(np.abs(np.fft.rfft(blank_runs, axis=1)) ** 2, axis=0)
    f_hz = np.fft.rfftfreq(WINDOW, STEP_S)
    for low, high in ((0.01, 0.2), (0.2, 3.0)):
        band = (f_hz > low) & (f_hz < high)
        slope = np.polyfit(np.log(f_hz[band]), np.log(power[band]), 1)[0]
        assert slope == pytest.approx(-1.0, abs=0.2)


def test_flicker_disturbs_a_slope_as_other_one_over_f_noise_does(blank_runs: NDArray[np.float64]) -> None:
    """A slope over W seconds has an error of about 0.96 rms / W: measured beforehand on an independent
    simulator's 1/f noise (0.92 to 1.00 for 20 to 480 s)."""
    for window_s in (20, 60, 120):
        n = round(window_s / STEP_S)
        t_s = np.arange(n) * STEP_S
        pieces = blank_runs[:, : WINDOW // n * n].reshape(-1, n).T
        slopes = np.polyfit(t_s, pieces, 1)[0]
        assert float(np.std(slopes)) * window_s / 3.0 == pytest.approx(0.96, rel=0.2)


def test_flicker_does_not_care_how_finely_time_runs() -> None:
    fine = Flicker(1.0, np.random.default_rng(5))
    coarse = Flicker(1.0, np.random.default_rng(6))
    a = np.array([fine.step(0.05) for _ in range(40_000)][::10])
    b = np.array([coarse.step(0.5) for _ in range(4_000)])
    step_a, step_b = np.std(np.diff(a)), np.std(np.diff(b))
    assert step_a == pytest.approx(step_b, rel=0.1)


def test_ripple_keeps_its_standard_deviation_and_memory() -> None:
    subject = Ripple(2.0, 0.15, np.random.default_rng(1))
    x = np.array([subject.step(STEP_S) for _ in range(40_000)])
    assert x.std() == pytest.approx(2.0, rel=0.05)
    assert np.corrcoef(x[:-1], x[1:])[0, 1] == pytest.approx(np.exp(-STEP_S / 0.15), abs=0.03)


def test_white_is_the_same_for_the_same_seed_and_has_its_spread() -> None:
    first, second = White(0.5, np.random.default_rng(9)), White(0.5, np.random.default_rng(9))
    x = [first.step() for _ in range(5_000)]
    assert x == [second.step() for _ in range(5_000)]
    assert np.std(x) == pytest.approx(0.5, rel=0.05)
