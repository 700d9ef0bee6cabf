"""Points of a distribution, read-off sizes, mass balance, surface."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.distribution.interpolation import characteristic, interpolated
from logger.core.distribution.points import (
    PortionStep,
    SievePoint,
    from_fresh_portions,
    from_same_portion,
    mass_balance,
)
from logger.core.distribution.surface import sauter_from_points_um
from logger.core.refusal import ResultError
from logger.core.weighing import BalanceSpec
from tests.core.distribution.curves import rrsb

BENCH = BalanceSpec(readability_g=0.001, repeatability_g=0.0008)


def point(aperture_um: float, residue_pct: float, u_pct: float = 0.2) -> SievePoint:
    return SievePoint(aperture_um=aperture_um, residue_pct=residue_pct, u_pct=u_pct)


def test_classes_sum_to_100_and_rising_points_stay_where_they_are() -> None:
    given_points = [point(32, 40), point(45, 20), point(63, 22), point(90, 5)]
    found = from_fresh_portions(given_points)
    assert found.points == tuple(given_points)
    assert [c.share_pct for c in found.classes] == pytest.approx([60, 20, -2, 17, 5])
    assert math.fsum(c.share_pct for c in found.classes) == pytest.approx(100)
    assert found.notices == (
        "residue rises from 20.00 % on 45 µm to 22.00 % on 63 µm, more than chance: "
        "check both sieves and both runs; kept as found",
    )


def test_a_small_rise_is_within_chance_but_still_said() -> None:
    found = from_fresh_portions([point(45, 20.0), point(63, 20.3)])
    assert "within chance" in found.notices[0]


@pytest.mark.parametrize(
    ("apertures", "words"),
    [
        ((45, 32), "from the finest upwards: 32 µm stands after 45 µm"),
        ((32, 45, 45), "the 45 µm sieve is given twice"),
        ((45,), "two or more sieves"),
    ],
)
def test_sieves_out_of_order_or_doubled(apertures: tuple[float, ...], words: str) -> None:
    with pytest.raises(ResultError, match=words):
        from_fresh_portions([point(w, 50 - w / 10) for w in apertures])


def test_one_portion_carried_over_three_sieves() -> None:
    # By hand: 50 g, 20 g stay on 32 um; 19.9 g reach 63 um, 8 g stay; 7.95 g reach 90 um, 2 g stay.
    steps = [
        PortionStep(aperture_um=32, tare_g=400.0, gross_charge_g=450.0, gross_after_g=420.0),
        PortionStep(aperture_um=63, tare_g=410.0, gross_charge_g=429.9, gross_after_g=418.0),
        PortionStep(aperture_um=90, tare_g=405.0, gross_charge_g=412.95, gross_after_g=407.0),
    ]
    found = from_same_portion(steps, BENCH, loss_limit_pct=1.0)
    assert [p.residue_pct for p in found.points] == pytest.approx([40, 16, 4])
    assert found.balance is not None
    assert found.balance.loss_g == pytest.approx(0.15)
    assert found.balance.text == "0.30 % of the charge lost, within 1 %"
    u_second = 100 * math.sqrt(2) * BENCH.mass_u_g / 50 * math.hypot(1, 0.16)
    assert found.points[1].u_pct == pytest.approx(u_second)


def test_carried_uncertainty_by_monte_carlo() -> None:
    rng = np.random.default_rng(10)
    t1, c1, t2, a2 = (v + BENCH.mass_u_g * rng.standard_normal(400_000) for v in (400, 450, 410, 418))
    steps = [
        PortionStep(aperture_um=32, tare_g=400, gross_charge_g=450, gross_after_g=420),
        PortionStep(aperture_um=63, tare_g=410, gross_charge_g=429.9, gross_after_g=418),
    ]
    found = from_same_portion(steps, BENCH, 1.0).points[1]
    assert found.u_pct == pytest.approx(float(np.std(100 * (a2 - t2) / (c1 - t1))), rel=0.01)


def test_mass_balance_of_one_run() -> None:
    assert mass_balance(25.0, 3.0, 21.9, 0.5).within
    beyond = mass_balance(25.0, 3.0, 21.5, 0.5)
    assert beyond.loss_pct == pytest.approx(2.0)
    assert beyond.text.startswith("2.00 % of the charge lost, beyond 0.5 %: look at lid")
    assert mass_balance(25.0, 3.0, 22.5, 0.5).text.startswith("2.00 % of the charge gained")
    with pytest.raises(ResultError, match="charge above zero"):
        mass_balance(0.0, 0.0, 0.0, 0.5)


def test_read_off_between_sieves() -> None:
    # By hand: passing 40 % at 32 um, 80 % at 64 um; 60 % is half way in ln d: sqrt(32 x 64).
    found = interpolated([point(32, 60), point(64, 20)], 60)
    assert found.d_um == pytest.approx(math.sqrt(32 * 64))
    assert found.u_um == pytest.approx(found.d_um * math.log(2) / 40 * 0.2 / math.sqrt(2))
    assert found.basis == "passing linear over log aperture between 32 and 64 µm"


def test_read_off_uncertainty_by_monte_carlo() -> None:
    rng = np.random.default_rng(21)
    drawn = [
        interpolated(
            [
                point(32, 60 + 0.3 * rng.standard_normal(), 0.3),
                point(63, 20 + 0.3 * rng.standard_normal(), 0.3),
            ],
            50,
            "rrsb",
        ).d_um
        for _ in range(4000)
    ]
    ideal = interpolated([point(32, 60, 0.3), point(63, 20, 0.3)], 50, "rrsb")
    assert float(np.std(drawn)) == pytest.approx(ideal.u_um, rel=0.05)


@settings(deadline=None)
@given(st.floats(0.7, 2.0), st.floats(30, 80), st.floats(12, 88))
def test_read_off_on_rrsb_paper_is_exact_for_an_rrsb_powder(n: float, d_prime: float, level: float) -> None:
    curve = rrsb(d_prime, n)
    some = [point(w, curve.residue_pct(w)) for w in (1.0, 20.0, 45.0, 90.0, 400.0)]
    if some[0].passing_pct < level < some[-1].passing_pct and some[-1].residue_pct > 0:
        assert interpolated(some, level, "rrsb").d_um == pytest.approx(curve.diameter_um(level), rel=1e-6)


def test_sizes_outside_the_sieves_are_refused_with_what_to_do() -> None:
    d10, d50, d90 = characteristic([point(32, 70), point(63, 40), point(90, 15)])
    assert d10.diameter is None
    assert d10.reason == (
        "d10 lies below the finest sieve (32 µm passes 30.0 %): add a finer sieve or take it from a fit"
    )
    assert d50.diameter is not None
    assert d90.diameter is None
    assert [c.passing_pct for c in (d10, d50, d90)] == [10, 50, 90]
    assert "above the coarsest sieve" in d90.reason


def test_a_level_crossed_more_than_once_is_not_given() -> None:
    with pytest.raises(ResultError, match="crossed more than once"):
        interpolated([point(32, 60), point(45, 45), point(63, 55), point(90, 10)], 50)
    assert interpolated([point(32, 60), point(45, 50), point(63, 20)], 50).d_um == pytest.approx(45)


def test_paper_axes_have_no_place_for_a_full_passing() -> None:
    with pytest.raises(ResultError, match="use plain axes"):
        interpolated([point(32, 60), point(90, 0)], 60, "rrsb")


def test_sauter_mean_of_a_straight_line() -> None:
    # Mass distribution straight from 0 % at 1 um to 100 % at 101 um: 100 / ln 101 = 21.668 um
    # (Coulson and Richardson vol. 2/5 problem, printed 21.7, from memory; computed).
    assert sauter_from_points_um([point(1, 100), point(101, 0)]) == pytest.approx(21.668, abs=5e-4)
    fine = [point(w, 101 - w) for w in range(1, 102)]
    assert sauter_from_points_um(fine) == pytest.approx(100 / math.log(101), rel=1e-12)


def test_an_open_fine_end_gives_no_surface() -> None:
    with pytest.raises(ResultError, match=r"leave 40\.0 % below 32 µm and 5\.0 % above 90 µm"):
        sauter_from_points_um([point(32, 60), point(90, 5)])
    with pytest.raises(ResultError, match="the points rise"):
        sauter_from_points_um([point(10, 100), point(32, 20), point(45, 30), point(90, 0)])


def test_a_portion_weighed_on_a_platform_carries_its_two_further_readings() -> None:
    """u^2 grows by 2 (u / m0)^2 at every sieve (computed)."""
    weighed = [(45.0, 400.0, 425.0, 410.0), (63.0, 390.0, 400.0, 395.0)]
    beside = [
        PortionStep(aperture_um=a, tare_g=t, gross_charge_g=c, gross_after_g=r) for a, t, c, r in weighed
    ]
    under = [replace(step, further_readings=2) for step in beside]
    first, second = (from_same_portion(steps, BENCH, 2.0).points for steps in (beside, under))
    more_pct = 100 * math.sqrt(2) * BENCH.mass_u_g / 25
    assert [p.residue_pct for p in first] == [p.residue_pct for p in second]
    for a, b in zip(first, second, strict=True):
        assert math.sqrt(b.u_pct**2 - a.u_pct**2) == pytest.approx(more_pct, rel=1e-9)
