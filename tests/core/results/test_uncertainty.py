"""Uncertainty budget: sums, degrees of freedom, expanded value, and its table."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from logger.core.propagation import propagated_u
from logger.core.refusal import ResultError
from logger.core.residue import residue
from logger.core.residue_budget import (
    aperture_component,
    correction_component,
    endpoint_component,
    loss_if_twice_as_long_pct,
    repeatability_component,
    scaled,
    weighing_components,
)
from logger.core.uncertainty import Component, NotIncluded, budget
from logger.core.weighing import BalanceSpec

BENCH = BalanceSpec(readability_g=0.001, repeatability_g=0.0008, repeatability_dof=9)


def test_gum_h1_end_gauge() -> None:
    # JCGM 100, H.1: u and degrees of freedom from memory, results recomputed; U99 = 93 nm with k = 2.92.
    parts = ((25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0))
    found = budget([Component(name=str(i), u=u, dof=dof) for i, (u, dof) in enumerate(parts)], coverage=0.99)
    assert found.u_pct == pytest.approx(31.67, abs=0.01)
    assert found.dof == 16
    assert found.k == pytest.approx(2.92, abs=0.005)
    assert found.expanded_u_pct == pytest.approx(93, abs=0.6)


def test_gum_h2_correlated_inputs() -> None:
    # JCGM 100, H.2 resistance and reactance; data read second-hand (GTC's docstring), results recomputed.
    data = np.array(
        [
            [5.007, 4.994, 5.005, 4.990, 4.999],
            [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3],
            [1.0456, 1.0438, 1.0468, 1.0428, 1.0433],
        ]
    )
    means, covariance = [float(m) for m in data.mean(axis=1)], np.cov(data) / 5
    cases: tuple[tuple[Callable[..., float], float, float], ...] = (
        (lambda v, i, phi: v / i * math.cos(phi), 127.732170, 0.071071),
        (lambda v, i, phi: v / i * math.sin(phi), 219.846512, 0.295582),
        (lambda v, i, phi: v / i, 254.259702, 0.236336),
    )
    for function, value, u in cases:
        assert function(*means) == pytest.approx(value, abs=5e-7)
        assert propagated_u(function, means, covariance) == pytest.approx(u, abs=5e-7)


def test_weighing_components_add_up_to_the_residue_s_own_uncertainty() -> None:
    found = residue(412.356, 437.360, 413.118, BENCH)
    parts = weighing_components(found, BENCH)
    assert budget(parts).u_pct == pytest.approx(found.residue_u_pct, rel=1e-12)
    assert [p.dof for p in parts] == [9, math.inf]


def test_whole_budget_against_monte_carlo() -> None:
    # Linear propagation of a corrected residue with an aperture and an endpoint term, against 400 000 draws.
    rng = np.random.default_rng(5)
    n, m = 400_000, BENCH.mass_u_g
    t, c, a = (v + m * rng.standard_normal(n) for v in (412.356, 437.360, 415.118))
    endpoint = endpoint_component(rate_pct_per_min=0.1, rate_u_pct_per_min=0.0125, at_s=450, interval_s=120)
    factor, factor_u = 1.0652, 0.02
    drawn = (100 * (a - t) / (c - t) + endpoint.u * rng.standard_normal(n)) * (
        factor + factor_u * rng.standard_normal(n)
    ) + 0.15 * rng.standard_normal(n)
    raw = residue(412.356, 437.360, 415.118, BENCH)
    parts = [scaled(p, factor) for p in (*weighing_components(raw, BENCH), endpoint)]
    parts += [correction_component(raw.residue_pct, factor_u), repeatability_component(0.15, 1)]
    assert budget(parts).u_pct == pytest.approx(float(np.std(drawn)), rel=0.01)


def test_aperture_tolerance_dwarfs_weighing() -> None:
    # Cement-like RRSB d' = 30 um, n = 0.95 at 45 um: dR/dw = -0.714 %/um, Y = 2.8 um: u = 1.15 % (computed).
    part = aperture_component(-0.714, 2.8 / math.sqrt(3), corrected=False)
    assert isinstance(part, Component)
    assert part.contribution_pct == pytest.approx(1.15, abs=0.005)


def test_aperture_without_slope_or_behind_a_correction_is_said_not_guessed() -> None:
    unknown = aperture_component(None, 1.6, corrected=False)
    held = aperture_component(-0.7, 1.6, corrected=True)
    assert isinstance(unknown, NotIncluded)
    assert isinstance(held, NotIncluded)
    assert "not known from one sieve" in unknown.reason
    assert "held in the correction factor" in held.reason


def test_endpoint_parts() -> None:
    stop = endpoint_component(rate_pct_per_min=0.1, rate_u_pct_per_min=0.0125, at_s=450)
    assert stop.u == pytest.approx(450 / 60 * 0.0125 / 1.35)
    assert endpoint_component(rate_pct_per_min=0.12, late_s=30).u == pytest.approx(0.06 / math.sqrt(3))
    assert endpoint_component(rate_pct_per_min=0.1, interval_s=120).u == pytest.approx(0.2 / math.sqrt(12))
    assert endpoint_component(rate_pct_per_min=-0.01, late_s=30, interval_s=60).u == 0.0


@pytest.mark.parametrize("exponent", [1.0, 1.35, 3.0])
def test_what_a_run_twice_as_long_would_lose_against_numeric_integration(exponent: float) -> None:
    t = np.linspace(450, 900, 200_001)
    rate = 0.1 * (t / 450) ** -exponent
    expected = float(np.sum((rate[1:] + rate[:-1]) / 2 * np.diff(t))) / 60
    assert loss_if_twice_as_long_pct(0.1, 450, exponent) == pytest.approx(expected, rel=1e-8)


def test_table_a_person_can_follow() -> None:
    found = budget(
        [
            Component(name="weighing", u=0.00085, unit="g", sensitivity=5.5, basis="three readings"),
            Component(name="repeatability", u=0.2, sensitivity=1 / math.sqrt(2), dof=4, basis="mean of 2"),
        ],
        not_included=[NotIncluded(name="aperture", reason="slope unknown")],
    )
    assert found.lines == (
        "source         u        unit  sensitivity  % of charge  share  dof  from",
        "weighing       0.00085  g     5.5          0.0047       0 %    ∞    three readings",
        "repeatability  0.2      %     0.7071       0.1414       100 %  4    mean of 2",
        "not included: aperture (slope unknown)",
        "standard uncertainty u = 0.1415 % of the charge, degrees of freedom 4",
        "expanded uncertainty U = 0.40 % of the charge (k = 2.776, coverage 95 %)",
    )


def test_bad_components_are_refused() -> None:
    with pytest.raises(ResultError, match="at least one component"):
        budget([])
    with pytest.raises(ResultError, match="must not be negative"):
        Component(name="x", u=-0.1)
    with pytest.raises(ResultError, match="degrees of freedom"):
        Component(name="x", u=0.1, dof=0)


def test_all_zero_gives_zero_not_an_error() -> None:
    found = budget([Component(name="x", u=0.0)])
    assert found.expanded_u_pct == 0.0
    assert found.lines[-1].startswith("expanded uncertainty U = 0 %")
