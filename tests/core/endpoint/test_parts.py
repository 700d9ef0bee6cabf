"""The parts of the estimator, each against figures known otherwise."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from logger.core.endpoint.blocks import spread_bunched
from logger.core.endpoint.estimator import LossRateEstimator
from logger.core.endpoint.frozen import FrozenWatch
from logger.core.endpoint.gate import PressureGate
from logger.core.endpoint.lag_match import LAGS_S, LagMatch
from logger.core.endpoint.noise import HADAMARD
from logger.core.endpoint.parameters import Tuning
from logger.core.endpoint.tail_filter import COUPLING, LEVEL, TailFilter, measurement_row
from logger.core.method import Endpoint, Suction, Weighing
from logger.core.rig import Rig
from tests.endpoint_traces import flicker

SUCTION = Suction(dp_pa=2500.0, band_pa=250.0)


def test_gate_has_hysteresis_and_needs_fresh_readings() -> None:
    gate = PressureGate(SUCTION, fresh_s=5.0)
    for t in range(100):
        gate.add(0.1 * t, 2500.0)
    assert gate.open_for_s(9.9) == pytest.approx(9.9)
    for t in range(100, 300):
        gate.add(0.1 * t, 2200.0)
    assert gate.open_for_s(29.9) is None
    for t in range(300, 600):
        gate.add(0.1 * t, 2255.0)  # inside the band, not yet inside the share of it that opens
    assert gate.open_for_s(59.9) is None
    for t in range(600, 700):
        gate.add(0.1 * t, 2450.0)
    assert gate.open_for_s(69.9) is not None
    assert gate.open_for_s(76.0) is None


def test_ripple_at_the_edge_does_not_flip_the_gate() -> None:
    gate = PressureGate(SUCTION, fresh_s=5.0)
    opened = []
    for i in range(2000):
        gate.add(0.1 * i, 2265.0 + 25.0 * math.sin(2 * math.pi * i / 7))
        opened.append(gate.open_for_s(0.1 * i) is not None)
    assert sum(a != b for a, b in itertools.pairwise(opened)) <= 2


def test_effective_time_is_the_integral_of_pressure_inside_the_band() -> None:
    gate = PressureGate(SUCTION, fresh_s=5.0)
    for i in range(10, 1001):
        t = 0.1 * i
        gate.add(t, 2400.0 if t < 50 else 1000.0 if t < 60 else 2600.0)
    # 2400/2500 from 1.0 to 50 s, nothing to 60 s, 2600/2500 to 100 s; what the powder felt counts on (by hand).
    assert gate.effective_s == pytest.approx(49 * 0.96 + 40 * 1.04, abs=0.2)
    assert gate.theta_s == pytest.approx(1.0 + 49 * 0.96 + 10 * 0.4 + 40 * 1.04, abs=0.2)


def test_time_runs_exactly_over_a_day() -> None:
    endpoint = Endpoint(rule="fixed-time", time_s=1e6, max_time_s=2e6)
    estimator = LossRateEstimator(endpoint, SUCTION, Weighing(mode="live"), Rig(readability_g=0.001), 50.0)
    rng = np.random.default_rng(3)
    noise = np.round(0.002 * rng.normal(size=43_200), 3)
    for i, n in enumerate(noise.tolist()):
        estimator.add(2.0 * i, 10.0 + n, 2500.0)
    assert estimator.effective_s == pytest.approx(2.0 * (len(noise) - 1), rel=1e-12)
    rate = estimator.rate
    assert rate is not None
    assert 0 <= rate[0] < 0.01
    assert math.isfinite(rate[1])


def test_bunched_stamps_are_spread_back_and_even_ones_left_alone() -> None:
    even = np.arange(0, 4, 0.1)
    assert np.array_equal(spread_bunched(even), even)
    bunched = np.ceil(even / 0.5) * 0.5
    assert np.max(np.abs(spread_bunched(bunched) - even - np.mean(spread_bunched(bunched) - even))) < 0.1


def test_frozen_digits_are_told_from_coarse_ones() -> None:
    rng = np.random.default_rng(2)
    fine = FrozenWatch(0.002)
    coarse = FrozenWatch(0.02)
    false = 0
    for i in range(5000):
        t = 0.1 * i
        load = 20.0 - 1e-4 * t
        false += fine.add(t, round((load + 0.003 * rng.normal()) / 0.002) * 0.002, 1e-4, 0.003)
        false += coarse.add(t, round(load / 0.02) * 0.02, 1e-4, 0.0)
    assert false == 0
    caught = [fine.add(500 + 0.1 * i, 19.9, 1e-4, 0.003) for i in range(30)]
    assert caught[-1]
    assert not caught[3]


def test_lag_of_the_balance_is_found_from_the_ripple() -> None:
    rng = np.random.default_rng(4)
    match = LagMatch()
    t, true_lag = 0.0, LAGS_S[2]
    force = 2500.0
    for _ in range(20):
        dt, mass, rows = [], [], []
        for _ in range(30):
            t += 0.1
            dp = 2500 + 25 * rng.normal()
            force += (dp - force) * -math.expm1(-0.1 / true_lag)
            rows.append(list(match.add(t, dp)))
            dt.append(t)
            mass.append(0.5 * force / 1000 + 0.001 * rng.normal())
        basis = np.linalg.qr(np.column_stack([np.ones(30), np.array(dt) - np.mean(dt)]))[0]
        rest = np.array(mass) - basis @ (basis.T @ np.array(mass))
        match.learn(basis, rest, np.array(rows))
    assert match.best == 2


def test_hadamard_constant_of_flicker_noise() -> None:
    # 3 ln(256/27) K; K = rms^2 / ln(300 f) for noise whose rms over 600 s, whole band, is known (computed here).
    rng = np.random.default_rng(6)
    hz, found = 10.0, []
    for _ in range(20):
        means = flicker(rng, 6000, hz, 1.0).reshape(-1, 80).mean(axis=1)
        found.append(np.mean((means[2:] - 2 * means[1:-1] + means[:-2]) ** 2))
    assert np.mean(found) * math.log(300 * hz) == pytest.approx(HADAMARD, rel=0.15)
    assert pytest.approx(3 * math.log(256 / 27), abs=0.01) == HADAMARD


def test_clean_power_tail_is_followed_without_bias() -> None:
    tail = TailFilter(Tuning(), drift_sd=1e-6, coupling_sd=1e-6, lag_sd=1e-6, load_sd=0.01)
    tail.set_flicker(1e-10)
    tail.begin_tail(0.05, 0.2, 0.02, 0.01)
    theta, row = 20.0, measurement_row(0.0, 0.0)

    def load(at: float) -> float:
        return 10.0 + 2.5 * math.exp(-0.4 * math.log(at / 20.0))  # rate 0.05 (t/20)^-1.4 %/s

    tail.state[0] = load(theta)
    while theta < 400:
        tail.predict(theta, 2.0, 2.0)
        theta += 2.0
        tail.update(tail.innovation(load(theta), row, 0.0)[0], row, 1e-9)
    for ahead in (0.0, 60.0):
        assert tail.rate(theta, ahead)[0] == pytest.approx(
            60 * 0.05 * ((theta + ahead) / 20.0) ** -1.4, rel=0.02
        )
    assert tail.rate(theta, 60.0)[1] > tail.rate(theta, 0.0)[1]


def test_drift_is_learned_in_the_rest_and_hardly_while_sieving() -> None:
    tail = TailFilter(Tuning(), drift_sd=1e-3, coupling_sd=0.1, lag_sd=1e-6, load_sd=0.3)
    tail.set_flicker(1e-10)
    row = measurement_row(0.0, 0.0)
    for i in range(30):
        tail.predict(0.0, 0.0, 2.0)
        tail.update(tail.innovation(100.0 - 4e-4 * 2 * i, row, 0.0)[0], row, 1e-8)
    assert tail.state[5] == pytest.approx(-4e-4, rel=0.05)
    before = tail.cov[5, 5]
    tail.begin_tail(0.05, 0.2, 0.02, 0.01)
    for i in range(30):
        tail.predict(20.0 + 2 * i, 2.0, 2.0)
        tail.update(tail.innovation(90.0, row, 0.0)[0], row, 1e-6)
    # A constant drift and a slow tail look alike: little is learned, and never more than nothing.
    assert 0.5 * before < tail.cov[5, 5] <= before * (1 + 1e-9)
    assert np.all(np.linalg.eigvalsh(tail.cov) > -1e-12)
    assert LEVEL != COUPLING
