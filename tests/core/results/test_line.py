"""Straight lines against NIST and the GUM."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy.stats.tests

from logger.core.line import fit_line
from logger.core.refusal import ResultError

NORRIS = Path(scipy.stats.tests.__path__[0]) / "data" / "nist_linregress" / "Norris.dat"


def test_nist_norris() -> None:
    # NIST StRD linear regression, set Norris, certified values; data read from SciPy's copy.
    rows = [line.split() for line in NORRIS.read_text().splitlines()[60:] if line.strip()]
    y, x = ([float(row[i]) for row in rows] for i in (0, 1))
    line = fit_line(x, y)
    assert len(x) == 36
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-14)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.slope_u == pytest.approx(0.429796848199937e-03, rel=1e-11)
    assert line.intercept_u == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)


def test_gum_h3_prediction_uses_the_covariance() -> None:
    # JCGM 100, H.3 thermometer calibration; inputs read second-hand (GTC's docstring), results recomputed.
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    line = fit_line([value - 20 for value in t], b)
    assert line.intercept == pytest.approx(-0.171204, abs=5e-7)
    assert line.intercept_u == pytest.approx(0.002878, abs=5e-7)
    assert line.slope == pytest.approx(0.0021827, abs=5e-8)
    assert line.slope_u == pytest.approx(0.00066794, abs=5e-9)
    assert line.correlation == pytest.approx(-0.93043, abs=5e-6)
    assert line.residual_sd == pytest.approx(0.0034976, abs=5e-8)
    assert line.predict(10) == pytest.approx(-0.149377, abs=5e-7)
    assert line.predict_u(10) == pytest.approx(0.0041386, abs=5e-8)
    assert float(np.hypot(line.intercept_u, 10 * line.slope_u)) == pytest.approx(0.00727, abs=5e-6)


def test_weights_from_given_uncertainties_by_monte_carlo() -> None:
    rng = np.random.default_rng(11)
    x, u = np.array([1.0, 2.0, 4.0, 7.0]), np.array([0.1, 0.3, 0.2, 0.5])
    drawn = 2 + 0.5 * x + u * rng.standard_normal((20_000, 4))
    fits = [fit_line(list(x), list(y), list(u)) for y in drawn[:4000]]
    assert float(np.std([f.slope for f in fits])) == pytest.approx(fits[0].slope_u, rel=0.05)
    assert float(np.std([f.predict(9.0) for f in fits])) == pytest.approx(fits[0].predict_u(9.0), rel=0.05)


def test_two_points_without_uncertainty_are_refused() -> None:
    with pytest.raises(ResultError, match="no scatter"):
        fit_line([1, 2], [1, 2])
    with pytest.raises(ResultError, match="two different points"):
        fit_line([1, 1], [1, 2], [0.1, 0.1])
