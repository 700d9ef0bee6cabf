"""Quantiles against SciPy (computed with it in the test) and printed tables."""

from __future__ import annotations

import math

import pytest
from scipy import special, stats

from logger.core.quantiles import (
    beta_share,
    chi2_above,
    f_quantile,
    gamma_above,
    normal_quantile,
    t_cdf,
    t_quantile,
)


@pytest.mark.parametrize(
    ("probability", "dof", "value"),
    # GUM (JCGM 100) table G.2 gives these to two decimals (from memory); digits computed with SciPy.
    [(0.975, 4, 2.776445), (0.975, 9, 2.262157), (0.975, 16, 2.119905), (0.995, 16, 2.920782)],
)
def test_t_factors(probability: float, dof: float, value: float) -> None:
    assert t_quantile(probability, dof) == pytest.approx(value, abs=5e-7)


@pytest.mark.parametrize("dof", [1, 1.7, 2, 3, 5.5, 12, 50, 400, 1e5])
@pytest.mark.parametrize("probability", [1e-6, 0.01, 0.3, 0.5, 0.8, 0.975, 0.9999])
def test_t_against_scipy(probability: float, dof: float) -> None:
    expected = float(stats.t.ppf(probability, dof))
    assert t_quantile(probability, dof) == pytest.approx(expected, rel=1e-8, abs=1e-7)
    assert t_cdf(expected, dof) == pytest.approx(probability, rel=1e-8)


@pytest.mark.parametrize("dofs", [(1, 1), (2, 7), (3, 30), (9, 18), (1.5, 2.5), (100, 200)])
@pytest.mark.parametrize("probability", [0.01, 0.5, 0.95, 0.9995])
def test_f_against_scipy(probability: float, dofs: tuple[float, float]) -> None:
    assert f_quantile(probability, *dofs) == pytest.approx(float(stats.f.ppf(probability, *dofs)), rel=1e-8)


@pytest.mark.parametrize("dof", [1, 2, 5, 30, 200])
@pytest.mark.parametrize("value", [0.0, 0.3, 4.0, 30.0, 250.0])
def test_chi_squared_against_scipy(value: float, dof: float) -> None:
    assert chi2_above(value, dof) == pytest.approx(float(stats.chi2.sf(value, dof)), rel=1e-9, abs=1e-14)


def test_functions_against_scipy() -> None:
    for a, b, x in [(0.5, 0.5, 0.2), (30, 0.5, 0.99), (2, 400, 0.004), (1e4, 2, 0.9999)]:
        assert beta_share(a, b, x) == pytest.approx(float(special.betainc(a, b, x)), rel=1e-9)
    assert gamma_above(0.5, 1e-3) == pytest.approx(float(special.gammaincc(0.5, 1e-3)), rel=1e-12)


def test_infinite_degrees_of_freedom_give_the_normal_distribution() -> None:
    assert t_quantile(0.975, math.inf) == pytest.approx(1.959963984540054, abs=1e-12)
    assert normal_quantile(0.95) == pytest.approx(1.6448536269514722, abs=1e-12)


def test_a_probability_of_one_is_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        t_quantile(1.0, 5)
