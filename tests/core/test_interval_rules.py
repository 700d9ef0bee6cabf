"""Interval rules against worked examples and against properties that any rule must have."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.interval_rules import (
    WeighingPoint,
    interval_for_certainty_s,
    judge_interval,
    loss_rate_pct_per_min,
    loss_rate_u,
)
from logger.core.method import Charge, Endpoint, Method, MethodIdentity, Sieve, Suction, Weighing

# Sums of exponentials; crossing times computed by hand from 0.1 = 100 (e^k - 1) A e^(-k t) and checked
# numerically. Model: first order per size class (Jansen & Glastonbury 1968, from memory).
VECTORS = [
    ((0.115, ((0.80, 2.5), (0.085, 0.35))), 10.208, 11.7386),
    ((0.115, ((0.85, 3.0), (0.035, 0.5))), 6.2454, 11.6541),
    ((0.03, ((0.90, 1.5), (0.07, 0.25))), 11.959, 3.3521),
]


def method(endpoint: Endpoint, **weighing: Any) -> Method:
    chosen: dict[str, Any] = {"mode": "interval", "interval_s": 60.0, **weighing}
    return Method(
        method=MethodIdentity(id="m", title="t"),
        charge=Charge(mass_g=25.0, tolerance_g=0.5),
        sieve=Sieve(aperture_um=45.0),
        suction=Suction(dp_pa=2500.0, band_pa=250.0),
        weighing=Weighing(**chosen),
        endpoint=endpoint,
    )


def loss_rate(limit: float = 0.1, **more: Any) -> Endpoint:
    return Endpoint(rule="loss-rate", limit_pct_per_min=limit, **more)


def pharmacopoeia(**more: Any) -> Endpoint:
    chosen: dict[str, Any] = {
        "change_pct": 5.0,
        "change_g": 0.1,
        "small_residue_pct": 5.0,
        "small_change_pct": 20.0,
        **more,
    }
    return Endpoint(rule="relative-change", **chosen)


def curve(vector: Any) -> Callable[[float], float]:
    plateau, terms = vector
    return lambda minutes: 25.0 * (plateau + sum(a * math.exp(-k * minutes) for a, k in terms))


def points_of(mass_g: Callable[[float], float], minutes: Sequence[float]) -> list[WeighingPoint]:
    return [WeighingPoint(60.0 * t, mass_g(t)) for t in minutes]


def two(earlier_g: float, later_g: float, interval_s: float = 300.0) -> list[WeighingPoint]:
    return [
        WeighingPoint(0.0, 25.0),
        WeighingPoint(interval_s, earlier_g),
        WeighingPoint(2 * interval_s, later_g),
    ]


@pytest.mark.parametrize(("vector", "stop_min", "residue_pct"), VECTORS)
def test_sliding_minute_stops_at_the_known_time(vector: Any, stop_min: float, residue_pct: float) -> None:
    grid = [i / 200 for i in range(round(200 * 12.2))]
    points = points_of(curve(vector), grid)
    first = next(
        judgement
        for n in range(1200, len(points))
        if (judgement := judge_interval(method(loss_rate()), 25.0, points[: n + 1], 0.0)).stop
    )
    stopped = next(p for p in points if 100 * p.load_g / 25.0 <= first.residue_pct)
    assert stopped.effective_s / 60 == pytest.approx(stop_min, abs=0.006)
    assert first.residue_pct == pytest.approx(residue_pct, abs=0.001)


def test_weighed_once_a_minute_the_first_vector_stops_at_eleven_minutes() -> None:
    mass_g = curve(VECTORS[0][0])
    stops = [
        judge_interval(method(loss_rate()), 25.0, points_of(mass_g, list(range(n + 1))), 0.0).stop
        for n in range(1, 12)
    ]
    assert stops.index(True) + 1 == 11


@pytest.mark.parametrize(("loss_mg", "stops"), [(24, True), (25, True), (26, False)])
def test_minute_loss_around_the_limit_of_25_mg(loss_mg: int, stops: bool) -> None:
    # 25.004 g: limit 25.004 mg/min (ISO 2591-1 rule, read second-hand; arithmetic by hand).
    points = [WeighingPoint(0, 25.004), WeighingPoint(60, 8.0), WeighingPoint(120, 8.0 - loss_mg / 1000)]
    assert judge_interval(method(loss_rate()), 25.004, points, 0.0).stop is stops


def test_loss_equal_to_the_limit_counts_as_met_although_binary_fractions_differ() -> None:
    points = [WeighingPoint(0, 25.0), WeighingPoint(60, 4.3), WeighingPoint(120, 4.3 - 0.025)]
    assert judge_interval(method(loss_rate()), 25.0, points, 0.0).stop


# Pharmacopoeia rule, 25.00 g in all (from memory of the harmonised text; arithmetic by hand).
@pytest.mark.parametrize(
    ("before_g", "after_g", "combine", "stops", "change_pct"),
    [
        (8.000, 7.650, "either", True, 4.375),
        (8.000, 7.650, "both", False, 4.375),
        (1.600, 1.505, "either", True, 5.9375),
        (1.600, 1.505, "both", False, 5.9375),
        (0.900, 0.760, "either", True, 15.5556),
        (0.900, 0.760, "both", True, 15.5556),
        (1.300, 1.190, "either", True, 8.4615),
        (1.300, 1.190, "both", True, 8.4615),
        (0.900, 0.700, "either", False, 22.2222),
        (2.000, 1.850, "either", False, 7.5),
    ],
)
def test_relative_change_examples(
    before_g: float, after_g: float, combine: Any, stops: bool, change_pct: float
) -> None:
    rule = method(pharmacopoeia(combine=combine), interval_s=300.0)
    found = judge_interval(rule, 25.0, two(before_g, after_g), 0.0)
    assert found.stop is stops
    assert found.value == pytest.approx(change_pct, abs=1e-3)


@pytest.mark.parametrize(("interval_min", "stop_min"), [(1, 5), (5, 15)])
def test_relative_change_on_the_first_vector(interval_min: int, stop_min: int) -> None:
    rule = method(Endpoint(rule="relative-change", change_pct=5.0), interval_s=60.0 * interval_min)
    mass_g = curve(VECTORS[0][0])
    times = list(range(0, 21, interval_min))
    stops = [
        t
        for n, t in enumerate(times)
        if n and judge_interval(rule, 25.0, points_of(mass_g, times[: n + 1]), 0).stop
    ]
    assert stops[0] == stop_min


def test_grams_alone_can_be_the_rule() -> None:
    rule = method(Endpoint(rule="relative-change", change_g=0.1), interval_s=300.0)
    assert judge_interval(rule, 25.0, two(8.0, 7.95), 0.0).unit == "g"
    assert judge_interval(rule, 25.0, two(8.0, 7.95), 0.0).stop
    assert not judge_interval(rule, 25.0, two(8.0, 7.85), 0.0).stop


def test_rate_below_the_limit_but_uncertain_goes_on_and_says_what_would_settle_it() -> None:
    points = [WeighingPoint(0, 10.0), WeighingPoint(60, 2.0), WeighingPoint(120, 1.992)]
    found = judge_interval(method(loss_rate()), 10.0, points, 0.003)
    need_s = interval_for_certainty_s(loss_rate(), 10.0, 0.003)
    assert not found.stop
    assert found.value == pytest.approx(0.08)
    assert found.value_u == pytest.approx(math.sqrt(2) * 0.003 * 10, rel=1e-12)
    assert "too uncertain" in found.open_conditions[0]
    assert need_s == pytest.approx(204, abs=1)  # 3.4 min for 10 g and 3 mg, by hand
    assert f"{need_s:.0f} s" in found.text


def test_minimum_time_and_a_mass_that_rose_keep_the_run_going() -> None:
    points = [WeighingPoint(0, 25.0), WeighingPoint(60, 4.0), WeighingPoint(120, 4.1)]
    found = judge_interval(method(loss_rate(min_time_s=180.0)), 25.0, points, 0.001)
    assert not found.stop
    assert any("mass rose by 0.1000 g" in line for line in found.open_conditions)
    assert any("120 s of 180 s" in line for line in found.open_conditions)


def test_fixed_time_needs_one_weighing_at_its_time() -> None:
    rule = method(Endpoint(rule="fixed-time", time_s=300.0), interval_s=None)
    start = [WeighingPoint(0, 25.0)]
    assert judge_interval(rule, 25.0, start, 0.001).next_interval_s == 300.0
    done = judge_interval(rule, 25.0, [*start, WeighingPoint(300.0, 3.0)], 0.001)
    assert done.stop
    assert done.next_interval_s == 0.0
    short = judge_interval(rule, 25.0, [*start, WeighingPoint(290.0, 3.0)], 0.001)
    assert not short.stop
    assert short.next_interval_s == pytest.approx(10.0)


def test_charge_alone_never_stops_and_asks_for_the_first_interval() -> None:
    rule = method(loss_rate(), first_interval_s=120.0)
    found = judge_interval(rule, 25.0, [WeighingPoint(0, 25.0)], 0.001)
    assert not found.stop
    assert found.value is None
    assert found.next_interval_s == 120.0


def test_interval_is_the_methods_own_unless_it_allows_proposals() -> None:
    points = points_of(curve(VECTORS[0][0]), [0, 2, 3, 4, 5])
    assert judge_interval(method(loss_rate()), 25.0, points, 0.0005).next_interval_s == 60.0


@pytest.mark.parametrize(("vector", "stop_min", "residue_pct"), VECTORS)
def test_proposals_save_weighings_and_end_near_the_crossing(
    vector: Any, stop_min: float, residue_pct: float
) -> None:
    mass_g = curve(vector)
    rule = method(loss_rate(), propose_interval=True)
    points = points_of(mass_g, [0, 2, 3, 4])
    while not (found := judge_interval(rule, 25.0, points, 0.0001)).stop:
        assert found.next_interval_s >= 60.0
        points.append(WeighingPoint(t := points[-1].effective_s + found.next_interval_s, mass_g(t / 60)))
    assert points[-1].effective_s / 60 - stop_min < 1.5
    assert len(points) - 1 <= math.ceil(stop_min) - (1 if stop_min < 7 else 3)


@pytest.mark.parametrize(
    ("points", "charge_g", "u_g", "said"),
    [
        ([], 25.0, 0.0, "first weighing must be the charge"),
        ([WeighingPoint(60, 25.0)], 25.0, 0.0, "first weighing must be the charge"),
        ([WeighingPoint(0, 25.0), WeighingPoint(0, 24.0)], 25.0, 0.0, "must rise"),
        ([WeighingPoint(0, 25.0)], 0.0, 0.0, "charge must be above zero"),
        ([WeighingPoint(0, 25.0)], 25.0, -1.0, "must not be negative"),
    ],
)
def test_points_that_cannot_be_meant_are_refused(
    points: list[WeighingPoint], charge_g: float, u_g: float, said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        judge_interval(method(loss_rate()), charge_g, points, u_g)


@settings(deadline=None, max_examples=100)
@given(
    charge_g=st.floats(5, 100),
    span_s=st.floats(30, 600),
    rate=st.floats(0.0, 1.0),
    u_g=st.floats(0.0, 0.01),
)
def test_a_stop_is_never_certain_to_be_above_the_limit(
    charge_g: float, span_s: float, rate: float, u_g: float
) -> None:
    before = WeighingPoint(300.0, 0.2 * charge_g)
    after = WeighingPoint(300.0 + span_s, before.load_g - rate * charge_g * span_s / 6000)
    points = [WeighingPoint(0, charge_g), before, after]
    found = judge_interval(method(loss_rate(), interval_s=span_s), charge_g, points, u_g)
    measured = loss_rate_pct_per_min(charge_g, before, after)
    u = loss_rate_u(charge_g, span_s, u_g)
    assert found.stop == (not found.open_conditions)
    assert found.stop == (measured <= 0.1 * (1 + 1e-9) and measured + 2 * u <= 0.125 * (1 + 1e-9))
    assert (found.next_interval_s == 0) == found.stop
