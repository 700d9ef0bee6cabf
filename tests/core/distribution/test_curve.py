"""Distribution families and their figures."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from fluids.particle_size_distribution import (
    PSDGatesGaudinSchuhman,
    PSDLognormal,
    PSDRosinRammler,
    cdf_Gates_Gaudin_Schuhman,
    cdf_lognormal,
    cdf_Rosin_Rammler,
    pdf_Rosin_Rammler,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.distribution.curve import Curve
from logger.core.distribution.surface import specific_surface_m2_per_cm3
from logger.core.refusal import ResultError
from tests.core.distribution.curves import ggs, log_normal, rrsb

APERTURES = (20, 25, 32, 45, 63, 90, 125, 200)
# Computed in Python from R = exp(-(d / d')^n).
SET_1 = (50.6455, 43.1294, 34.5339, 22.9949, 13.2189, 5.8446, 2.0657, 0.2327)
SET_2 = (59.2241, 51.1924, 41.5414, 27.8536, 15.7123, 6.4577, 1.9595, 0.1367)


@pytest.mark.parametrize(("curve", "residues"), [(rrsb(30, 0.95), SET_1), (rrsb(36, 1.10), SET_2)])
def test_rrsb_vectors(curve: Curve, residues: tuple[float, ...]) -> None:
    for d, residue in zip(APERTURES, residues, strict=True):
        assert curve.residue_pct(d) == pytest.approx(residue, abs=5.1e-5)
        assert curve.residue_pct(d) + curve.passing_pct(d) == 100


def test_rrsb_characteristic_sizes() -> None:
    # Computed; d50 also with fluids 1.3.1, whose parameters are m = n and k = d'^-n.
    curve = rrsb(30, 0.95)
    assert curve.diameter_um(10) == pytest.approx(2.8078, abs=5e-5)
    assert curve.diameter_um(50) == pytest.approx(20.3971, abs=5e-5)
    assert curve.diameter_um(90) == pytest.approx(72.1773, abs=5e-5)
    assert curve.residue_pct(30) == pytest.approx(36.788, abs=5e-4)
    theirs = PSDRosinRammler(k=30**-0.95, m=0.95)  # type: ignore[no-untyped-call]
    assert curve.diameter_um(50) == pytest.approx(theirs.dn(0.5), rel=1e-6)


def test_slope_near_the_aperture() -> None:
    # d' = 30 um, n = 0.95 at 45 um: -0.714 %/um (computed).
    assert rrsb(30, 0.95).slope_pct_per_um(45) == pytest.approx(-0.714, abs=5e-4)


@pytest.mark.parametrize(
    ("ours", "theirs", "value"),
    [  # computed with fluids 1.3.1
        (log_normal(1e-5, 1.1).passing_pct(1e-4), cdf_lognormal(1e-4, 1e-5, 1.1), 0.9818369875798),
        (ggs(1e-3, 2.3).passing_pct(2e-4), cdf_Gates_Gaudin_Schuhman(2e-4, 1e-3, 2.3), 0.0246813545088),
        (rrsb(200**-0.5, 2).passing_pct(0.05), cdf_Rosin_Rammler(0.05, 200, 2), 0.3934693402874),
        (-rrsb(200**-0.5, 2).slope_pct_per_um(1e-3), pdf_Rosin_Rammler(1e-3, 200, 2), 0.3999200080),
    ],
)
def test_single_values_against_fluids(ours: float, theirs: float, value: float) -> None:
    assert ours / 100 == pytest.approx(value, rel=1e-9)
    assert theirs == pytest.approx(value, rel=1e-9)


def test_log_normal_between_quartile_sizes() -> None:
    # d16 / d50 / d84 = 20 / 40 / 80 um at 15.866 and 84.134 %: sigma_g = 2, Q(45) = 0.567465 (computed).
    curve = log_normal(40, math.log(2))
    assert curve.diameter_um(15.865525) == pytest.approx(20, rel=1e-6)
    assert curve.diameter_um(84.134475) == pytest.approx(80, rel=1e-6)
    assert curve.s == pytest.approx(0.693147, abs=5e-7)
    assert curve.passing_pct(45) / 100 == pytest.approx(0.567465, abs=5e-7)


@pytest.mark.parametrize(
    ("p", "q", "value"),
    [
        (1, 0, 2.676307143),
        (2, 0, 3.032653299),
        (2, 1, 3.436446394),
        (3, 2, 4.412484513),
        (4, 3, 5.665742265),
        (3, 3, 5.000),
        (0, 0, 2.362),
    ],
)
def test_iso_9276_2_log_normal_example(p: int, q: int, value: float) -> None:
    # ISO 9276-2:2014 example, x50,3 = 5 um, s = 0.5 (read second-hand in the tests of `fluids`; closed form).
    curve = log_normal(5, 0.5)
    assert curve.mean_um(p, q) == pytest.approx(value, abs=6e-10 if p != q else 4e-4)
    assert curve.mean_um(p, q) == pytest.approx(5 * math.exp((p + q - 6) * 0.5**2 / 2), rel=1e-9)
    assert curve.mean_um(p, q) == pytest.approx(PSDLognormal(5, 0.5).mean_size(p, q), rel=1e-6)


def test_iso_9276_2_specific_surface() -> None:
    # Printed 1.35978 per um (read second-hand in the tests of `fluids`).
    found = specific_surface_m2_per_cm3(log_normal(5, 0.5).sauter_um)
    assert found == pytest.approx(1.35978, abs=5e-6)  # 1/µm is m²/cm³


def test_rrsb_moments_closed_forms() -> None:
    # D[4,3] = d' Gamma(1 + 1/n); D[3,2] = d' / Gamma(1 - 1/n) for n > 1 (closed forms, from memory).
    curve = rrsb(36, 1.4)
    assert curve.mean_um(4, 3) == pytest.approx(36 * math.gamma(1 + 1 / 1.4), rel=1e-12)
    assert curve.sauter_um == pytest.approx(36 / math.gamma(1 - 1 / 1.4), rel=1e-12)


@pytest.mark.parametrize(("curve", "k"), [(rrsb(36, 1.8), -1), (ggs(80, 1.6), -1), (ggs(80, 0.7), 1)])
def test_moments_by_drawing_from_the_distribution(curve: Curve, k: int) -> None:
    passing = (np.arange(200_000) + 0.5) / 2000
    sizes = np.array([curve.diameter_um(float(q)) for q in passing])
    mean = curve.mean_um(4, 3) if k == 1 else curve.sauter_um
    assert mean == pytest.approx(float(np.mean(sizes**k)) ** (1 / k), rel=0.02)


@pytest.mark.parametrize("n", [0.8, 0.95, 1.0])
def test_a_diverging_surface_is_refused_with_its_reason(n: float) -> None:
    with pytest.raises(ResultError, match=r"endless surface unless n is above 1.* none is given"):
        _ = rrsb(30, n).sauter_um
    assert rrsb(30, n).mean_um(4, 3) > 0
    if n < 1:
        theirs = PSDRosinRammler(k=30**-n, m=n)  # type: ignore[no-untyped-call]
        assert math.isnan(theirs.vssa)


def test_ggs_surface_needs_m_above_one() -> None:
    with pytest.raises(ResultError, match="unless m is above 1"):
        _ = ggs(100, 1.0).sauter_um
    assert ggs(100, 2.0).sauter_um == pytest.approx(50)  # k (m - 1) / m, by hand


def test_two_points_fix_a_curve() -> None:
    # R(45) = 28 %, R(90) = 4 %: n = 1.33836, d' = 37.5747 um; Q(45) = 50 %, Q(90) = 80 %:
    # m = 0.678072, k = 125.0727 um (computed).
    assert rrsb(37.5747, 1.33836).residue_pct(45) == pytest.approx(28, abs=1e-3)
    assert rrsb(37.5747, 1.33836).residue_pct(90) == pytest.approx(4, abs=1e-3)
    curve = ggs(125.0727, 0.678072)
    assert curve.passing_pct(45) == pytest.approx(50, abs=1e-4)
    theirs = PSDGatesGaudinSchuhman(125.0727, 0.678072)  # type: ignore[no-untyped-call]
    assert theirs.cdf(90) == pytest.approx(0.8, abs=1e-6)


@settings(deadline=None)
@given(st.sampled_from([rrsb, ggs, log_normal]), st.floats(5, 500), st.floats(0.3, 3), st.floats(0.5, 99.5))
def test_size_and_passing_are_inverse(
    make: Callable[[float, float], Curve], scale: float, shape: float, passing_pct: float
) -> None:
    curve = make(scale, shape)
    assert curve.passing_pct(curve.diameter_um(passing_pct)) == pytest.approx(passing_pct, abs=1e-8)


@settings(deadline=None)
@given(st.sampled_from([rrsb, ggs, log_normal]), st.floats(0.3, 3), st.floats(0.1, 0.95))
def test_slope_is_the_derivative(make: Callable[[float, float], Curve], shape: float, at: float) -> None:
    curve = make(100.0, shape)
    d = 100 * at
    by_difference = (curve.residue_pct(d * 1.00001) - curve.residue_pct(d * 0.99999)) / (2e-5 * d)
    assert curve.slope_pct_per_um(d) == pytest.approx(by_difference, rel=1e-5, abs=1e-7)


def test_ends_do_not_overflow() -> None:
    assert rrsb(1.0, 3).residue_pct(1e9) == 0.0
    assert ggs(50, 1).residue_pct(60) == 0.0
    with pytest.raises(ResultError, match="above zero"):
        rrsb(0.0, 1.0)
    with pytest.raises(ResultError, match="between 0 and 100"):
        rrsb(30, 1.0).diameter_um(100.0)
