"""Fits: exact vectors come back, outside data agree, what cannot be fitted is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import curve_fit

from logger.core.distribution.curve import Curve
from logger.core.distribution.fits import FamilyKey, Way, fit
from logger.core.distribution.least_squares import Array, least_squares
from logger.core.distribution.points import SievePoint
from logger.core.refusal import ResultError
from tests.core.distribution.curves import ggs, log_normal, rrsb

APERTURES = (20.0, 32.0, 45.0, 63.0, 90.0, 125.0)


def points(
    curve: Curve, u_pct: float = 0.3, digits: int = 12, d: tuple[float, ...] = APERTURES
) -> list[SievePoint]:
    return [
        SievePoint(aperture_um=w, residue_pct=round(curve.residue_pct(w), digits), u_pct=u_pct) for w in d
    ]


@pytest.mark.parametrize(
    ("curve", "n", "d_prime"),
    [(rrsb(30, 0.95), 0.94988, 29.9989), (rrsb(36, 1.10), 1.09988, 35.9977)],
)
def test_plain_line_on_rounded_residues(curve: Curve, n: float, d_prime: float) -> None:
    # Residues rounded to 0.01 %, equal weights in ln(-ln R): computed in Python.
    found = fit(points(curve, digits=2), "rrsb", weighted=False)
    assert found.curve.shape == pytest.approx(n, abs=6e-6)
    assert found.curve.scale_um == pytest.approx(d_prime, abs=6e-5)
    assert found.chi2 is None


def test_two_points_exactly() -> None:
    two = [
        SievePoint(aperture_um=45, residue_pct=28, u_pct=0.3),
        SievePoint(aperture_um=90, residue_pct=4, u_pct=0.2),
    ]
    found = fit(two, "rrsb")
    assert found.curve.shape == pytest.approx(1.33836, abs=5e-6)
    assert found.curve.scale_um == pytest.approx(37.5747, abs=5e-5)
    assert found.lack_of_fit is None
    assert "cannot be judged" in found.text
    other = [
        SievePoint(aperture_um=45, residue_pct=50, u_pct=0.3),
        SievePoint(aperture_um=90, residue_pct=20, u_pct=0.2),
    ]
    gaudin = fit(other, "ggs").curve
    assert gaudin.shape == pytest.approx(0.678072, abs=5e-7)
    assert gaudin.scale_um == pytest.approx(125.0727, abs=5e-5)


@settings(deadline=None, max_examples=60)
@given(
    st.sampled_from([("rrsb", rrsb), ("log-normal", log_normal), ("ggs", ggs)]),
    st.floats(0.6, 1.6),
    st.floats(25, 90),
    st.sampled_from(["line", "direct"]),
)
def test_exact_vectors_come_back(
    family: tuple[FamilyKey, object], shape: float, scale: float, way: Way
) -> None:
    key, make = family
    curve: Curve = make(140.0 if key == "ggs" else scale, shape)  # type: ignore[operator]
    found = fit(points(curve), key, way)
    assert found.curve.shape == pytest.approx(curve.shape, rel=1e-6)
    assert found.curve.scale_um == pytest.approx(curve.scale_um, rel=1e-6)
    assert found.widened == 1.0
    assert found.lack_of_fit == pytest.approx(1.0)


@pytest.mark.parametrize("family", ["rrsb", "log-normal"])
def test_direct_fit_against_scipy(family: FamilyKey) -> None:
    rng = np.random.default_rng(12)
    u = np.array([0.5, 0.4, 0.4, 0.3, 0.2, 0.1])
    made = [
        SievePoint(
            aperture_um=p.aperture_um, residue_pct=p.residue_pct + du * rng.standard_normal(), u_pct=du
        )
        for p, du in zip(points(rrsb(36, 1.1)), u, strict=True)
    ]
    make = rrsb if family == "rrsb" else (lambda scale, b: log_normal(scale, 1 / b))

    def model(d: Array, scale: float, b: float) -> Array:
        return np.array([make(scale, b).residue_pct(float(w)) for w in d])

    found = fit(made, family, "direct")
    best, covariance = curve_fit(
        model, APERTURES, [p.residue_pct for p in made], p0=(36, 1.1), sigma=u, absolute_sigma=True
    )
    assert found.curve.scale_um == pytest.approx(float(best[0]), rel=1e-5)
    assert found.curve.shape == pytest.approx(float(best[1]), rel=1e-5)
    assert found.scale_u_um / found.widened == pytest.approx(float(covariance[0, 0]) ** 0.5, rel=1e-3)
    assert found.shape_u / found.widened == pytest.approx(float(covariance[1, 1]) ** 0.5, rel=1e-3)


@pytest.mark.parametrize("way", ["line", "direct"])
def test_standard_errors_and_d50_by_monte_carlo(way: Way) -> None:
    rng = np.random.default_rng(3)
    exact = points(rrsb(36, 1.1), u_pct=0.2)
    drawn = [
        fit(
            [
                SievePoint(
                    aperture_um=p.aperture_um,
                    residue_pct=p.residue_pct + 0.2 * rng.standard_normal(),
                    u_pct=0.2,
                )
                for p in exact
            ],
            "rrsb",
            way,
        )
        for _ in range(500)
    ]
    ideal = fit(exact, "rrsb", way)
    assert float(np.std([f.curve.shape for f in drawn])) == pytest.approx(ideal.shape_u, rel=0.12)
    assert float(np.std([f.curve.scale_um for f in drawn])) == pytest.approx(ideal.scale_u_um, rel=0.12)
    d50 = [f.diameter(50).d_um for f in drawn]
    assert float(np.std(d50)) == pytest.approx(ideal.diameter(50).u_um, rel=0.12)
    lacking = np.mean([(f.lack_of_fit or 0) < 0.05 for f in drawn])
    assert float(lacking) == pytest.approx(0.05, abs=0.03)


def test_weights_at_half_and_at_the_ends() -> None:
    # u(ln(-ln R)) over u(R): 2.885 at R = 0.5, 12.8 at 0.02, 50.5 at 0.98 (computed).
    family = rrsb(30, 1).family
    for share, factor, digits in ((0.5, 2.885, 5e-4), (0.02, 12.8, 0.05), (0.98, 50.5, 0.05)):
        assert family.ordinate_slope(share) == pytest.approx(factor, abs=digits)
        assert family.ordinate_slope(share) == pytest.approx(1 / (share * abs(math.log(share))))


def test_a_curve_that_does_not_fit_says_so_and_widens_its_errors() -> None:
    found = fit(points(log_normal(40, 0.5), u_pct=0.05), "rrsb", "direct")
    assert found.lack_of_fit is not None
    assert found.lack_of_fit < 1e-6
    assert found.widened > 5
    assert "does not fit within the points' uncertainties" in found.text


def test_points_at_0_and_100_are_left_out_of_the_line_and_named() -> None:
    some = points(rrsb(36, 1.1), d=(20.0, 45.0, 90.0, 125.0))
    ends = [
        SievePoint(aperture_um=1.0, residue_pct=100.0, u_pct=0.3),
        *some,
        SievePoint(aperture_um=500.0, residue_pct=0.0, u_pct=0.01),
    ]
    line = fit(ends, "rrsb")
    assert [(p.aperture_um, p.residue_pct) for p in line.left_out] == [(1.0, 100.0), (500.0, 0.0)]
    assert "0 % residue has no place on" in line.left_out[1].reason
    assert "2 points at 0 or 100 % left out" in line.text
    direct = fit(ends, "rrsb", "direct")
    assert len(direct.used) == 6
    assert not direct.left_out
    assert line.curve.shape == pytest.approx(1.1, rel=1e-9)


def test_d_values_outside_the_sieves_are_marked() -> None:
    found = fit(points(rrsb(30, 0.95)), "rrsb")
    assert found.diameter(10).extrapolated
    assert "extrapolated" in found.diameter(10).basis
    assert not found.diameter(50).extrapolated
    assert found.diameter(50).d_um == pytest.approx(20.3971, abs=5e-5)


def test_log_normal_width_and_its_uncertainty() -> None:
    found = fit(points(log_normal(40, 0.5)), "log-normal")
    assert found.curve.s == pytest.approx(0.5)
    assert found.s_u == pytest.approx(found.shape_u * 0.25)
    assert "d50 = 40.00 µm" in found.text
    assert f"s = 0.5000 (u {found.s_u:.2g})" in found.text


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        ([(45, 100.0, 0.1), (90, 4.0, 0.1)], "two or more sieves"),
        ([(45, 4.0, 0.1), (90, 28.0, 0.1)], "does not fall"),
        ([(45, 28.0, 0.0), (90, 4.0, 0.1)], "45 µm has no uncertainty"),
    ],
)
def test_what_cannot_be_fitted_is_refused(bad: list[tuple[float, float, float]], words: str) -> None:
    given_points = [SievePoint(aperture_um=w, residue_pct=r, u_pct=u) for w, r, u in bad]
    with pytest.raises(ResultError, match=words):
        fit(given_points, "rrsb")


def test_a_direct_fit_is_always_weighted() -> None:
    with pytest.raises(ResultError, match="always weighted"):
        fit(points(rrsb(36, 1.1)), "rrsb", "direct", weighted=False)


MISRA_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
MISRA_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]


def approach(x: Array, y: Array, at: Array) -> tuple[Array, Array]:
    """y = b1 (1 - exp(-b2 x)): the first-order sieving curve."""
    falling = np.exp(-at[1] * x)
    return at[0] * (1 - falling) - y, np.column_stack([1 - falling, at[0] * x * falling])


def power(x: Array, y: Array, at: Array) -> tuple[Array, Array]:
    """y = b1 x^b2: the passing of a Gates-Gaudin-Schuhmann powder."""
    risen = x ** at[1]
    return at[0] * risen - y, np.column_stack([risen, at[0] * risen * np.log(x)])


@pytest.mark.parametrize(
    ("x", "y", "curve", "start", "b", "sd", "rss"),
    [  # NIST StRD nonlinear regression, certified values (read in lmfit's source archive), from Start 2.
        (
            [1, 2, 3, 5, 7, 10],
            [109, 149, 149, 191, 213, 224],
            approach,
            (100, 0.75),
            (213.80940889, 0.54723748542),
            (12.354515176, 0.10455993237),
            1168.0088766,
        ),
        (
            MISRA_X,
            MISRA_Y,
            approach,
            (250, 5e-4),
            (238.94212918, 5.5015643181e-4),
            (2.7070075241, 7.2668688436e-6),
            0.12455138894,
        ),
        (
            [1.309, 1.471, 1.490, 1.565, 1.611, 1.680],
            [2.138, 3.421, 3.597, 4.340, 4.882, 5.660],
            power,
            (0.7, 4),
            (0.76886226176, 3.8604055871),
            (0.018281973860, 0.051726610913),
            4.3173084083e-3,
        ),
    ],
    ids=["BoxBOD", "Misra1a", "DanWood"],
)
def test_nist_nonlinear(
    x: list[float],
    y: list[float],
    curve: object,
    start: tuple[float, float],
    b: tuple[float, float],
    sd: tuple[float, float],
    rss: float,
) -> None:
    xs, ys = np.array(x, dtype=float), np.array(y, dtype=float)
    found = least_squares(lambda at: curve(xs, ys, at), start)  # type: ignore[operator]
    assert list(found.parameters) == pytest.approx(list(b), rel=1e-8)
    unit = found.chi2 / (len(x) - 2)
    assert list(np.sqrt(unit * np.diag(found.covariance))) == pytest.approx(list(sd), rel=1e-7)
    assert found.chi2 == pytest.approx(rss, rel=1e-8)


def test_data_that_fix_nothing_are_refused() -> None:
    flat = np.zeros(4)
    with pytest.raises(ResultError, match="do not fix both parameters"):
        least_squares(lambda at: (flat, np.zeros((4, 2))), (1.0, 1.0))
