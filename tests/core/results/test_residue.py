"""Residue of one determination. Worked figures: computed by hand and in Python from the readings shown."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from logger.core.residue import ResultError, reconcile, residue, residue_ratio_u
from logger.core.weighing import BalanceSpec

BENCH = BalanceSpec(readability_g=0.001, repeatability_g=0.0008)


def test_worked_example() -> None:
    found = residue(412.356, 437.360, 413.118, BENCH)
    assert found.charge_g == pytest.approx(25.004, abs=1e-9)
    assert found.residue_g == pytest.approx(0.762, abs=1e-9)
    assert found.residue_pct == pytest.approx(3.0475, abs=5e-5)
    assert found.residue_u_pct == pytest.approx(0.00474, abs=5e-6)
    naive_pct = 100 * BENCH.net_u_g / found.charge_g * math.hypot(1, found.residue_pct / 100)
    assert naive_pct == pytest.approx(0.00481, abs=5e-6)
    assert found.residue_u_pct < naive_pct


@pytest.mark.parametrize(("share", "factor"), [(0.03, 1.3935), (0.5, 1.2247), (0.95, 1.3802)])
def test_tare_correlation_factor(share: float, factor: float) -> None:
    assert residue_ratio_u(share, 1.0, 1.0) == pytest.approx(factor, abs=5e-5)


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(5, 100), st.floats(0.0, 900))
def test_uncertainty_agrees_with_linear_propagation_by_the_uncertainties_package(
    share: float, charge_g: float, tare_g: float
) -> None:
    u = BENCH.mass_u_g
    t, c, a = ufloat(tare_g, u), ufloat(tare_g + charge_g, u), ufloat(tare_g + share * charge_g, u)
    found = residue(t.nominal_value, c.nominal_value, a.nominal_value, BENCH)
    assert found.residue_u_pct == pytest.approx(100 * ((a - t) / (c - t)).std_dev, rel=1e-6)


def test_uncertainty_agrees_with_monte_carlo() -> None:
    rng = np.random.default_rng(7)
    t, c, a = (v + BENCH.mass_u_g * rng.standard_normal(400_000) for v in (412.356, 437.360, 413.118))
    spread_pct = float(np.std(100 * (a - t) / (c - t)))
    assert residue(412.356, 437.360, 413.118, BENCH).residue_u_pct == pytest.approx(spread_pct, rel=0.01)


@settings(deadline=None)
@given(st.floats(0, 1), st.floats(5, 100), st.floats(0, 900), st.floats(0.5, 2))
def test_residue_and_passing_sum_to_100_and_scaling_leaves_the_share(
    share: float, charge_g: float, tare_g: float, scale: float
) -> None:
    readings = (tare_g, tare_g + charge_g, tare_g + share * charge_g)
    found = residue(*readings, BENCH)
    assert found.residue_pct + found.passing_pct == pytest.approx(100, abs=1e-9)
    scaled = residue(scale * readings[0], scale * readings[1], scale * readings[2], BENCH)
    assert scaled.residue_pct == pytest.approx(found.residue_pct, abs=1e-9)


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ((412.356, 412.356, 412.356), "charge is"),
        ((412.356, 400.000, 412.356), "charge is"),
        ((412.356, 437.360, 412.350), "less than its tare"),
        ((412.356, 437.360, 437.370), "above the charge"),
        ((math.nan, 437.360, 413.118), "tare_g is not a number"),
    ],
)
def test_impossible_weighings_are_refused_with_a_sentence(
    readings: tuple[float, float, float], words: str
) -> None:
    with pytest.raises(ResultError, match=words):
        residue(*readings, BENCH)


def test_empty_sieve_a_digit_below_tare_is_kept_as_found_with_a_warning() -> None:
    found = residue(412.356, 437.360, 412.355, BENCH)
    assert found.residue_g == pytest.approx(-0.001, abs=1e-9)
    assert "zero within the uncertainty" in found.warnings[0]


def test_full_residue_a_digit_above_the_charge_is_a_warning() -> None:
    assert "above the charge" in residue(412.356, 437.360, 437.361, BENCH).warnings[0]


def test_minimum_weight_is_flagged_on_the_net_residue_not_on_the_charge() -> None:
    found = residue(412.356, 437.360, 413.118, BENCH)
    assert found.below_minimum_weight
    assert found.warnings == (
        "net residue 0.762 g is below the minimum weight of this balance, 1.600 g "
        "(2 s at most 0.10 % of the mass, USP <41>)",
    )
    assert not residue(412.356, 437.360, 414.000, BENCH).below_minimum_weight


def test_live_load_is_reconciled_with_the_weighed_residue() -> None:
    weighed = residue(0.0, 50.00, 5.00, BalanceSpec(readability_g=0.01))
    near = reconcile(5.30, weighed, 1.0)
    assert near.within
    assert near.difference_pct == pytest.approx(0.6)
    assert near.text == (
        "live load was 0.60 % of the charge above the weighed residue, within the 1 % allowed"
    )
    far = reconcile(4.20, weighed, 1.0)
    assert not far.within
    assert far.text.startswith("live load was 1.60 % of the charge below the weighed residue, beyond the 1 %")
