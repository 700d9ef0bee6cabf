"""One reading of a balance and its minimum weight."""

from __future__ import annotations

import math

import pytest

from logger.core.refusal import ResultError
from logger.core.weighing import BalanceSpec, minimum_weight_g


@pytest.mark.parametrize(
    ("s_mg", "d_mg", "least_g"),
    [
        (0.15, 0.1, 0.30000),  # USP <41>, printed example with s = 0.00015 g (read second-hand)
        (0.03, 0.1, 0.082),  # the 0.41 d floor of USP <41> (read second-hand), computed in Python
        (0.8, 1.0, 1.600),
        (2.0, 10.0, 8.200),
    ],
)
def test_minimum_weight_of_the_pharmacopoeial_rule(s_mg: float, d_mg: float, least_g: float) -> None:
    assert minimum_weight_g(s_mg / 1000, d_mg / 1000) == pytest.approx(least_g, rel=1e-9)
    spec = BalanceSpec(readability_g=d_mg / 1000, repeatability_g=s_mg / 1000)
    assert spec.minimum_weight_g == pytest.approx(least_g, rel=1e-9)


def test_reading_uncertainty_of_a_milligram_balance() -> None:
    spec = BalanceSpec(readability_g=0.001, repeatability_g=0.0008)
    assert spec.mass_u_g == pytest.approx(0.8505e-3, abs=5e-8)


def test_two_roundings_of_a_net_mass_make_one_digit_over_root_six() -> None:
    # EURAMET cg-18 (from memory): rounding of zero and of load, d / (2 sqrt 3) each.
    assert BalanceSpec(readability_g=0.001).net_u_g == pytest.approx(0.408e-3, abs=5e-7)


def test_half_widths_enter_as_rectangular_distributions() -> None:
    spec = BalanceSpec(
        readability_g=0.01, eccentricity_g=0.003, linearity_g=0.004, drift_g=0.005, buoyancy_g=0.001
    )
    expected = math.sqrt(0.01**2 / 12 + (0.003**2 + 0.004**2 + 0.005**2 + 0.001**2) / 3)
    assert spec.mass_u_g == pytest.approx(expected, rel=1e-12)
    assert [name for name, _ in spec.components_g][:2] == ["rounding of the display", "eccentricity"]


@pytest.mark.parametrize(
    ("readability_g", "decimals"), [(0.001, 3), (0.01, 2), (0.005, 3), (1.0, 0), (2.0, 0)]
)
def test_decimals_of_the_display(readability_g: float, decimals: int) -> None:
    assert BalanceSpec(readability_g=readability_g).decimals == decimals


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"readability_g": 0.0}, "readability_g must be above zero"),
        ({"readability_g": 0.001, "drift_g": -1.0}, "drift_g must not be negative"),
        ({"readability_g": math.nan}, "readability_g is not a number"),
        ({"readability_g": 0.001, "repeatability_dof": 0.0}, "repeatability_dof"),
    ],
)
def test_impossible_balances_are_refused(values: dict[str, float], words: str) -> None:
    with pytest.raises(ResultError, match=words):
        BalanceSpec(**values)
