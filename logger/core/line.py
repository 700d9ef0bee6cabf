"""Straight line through points of unequal weight, with the covariance that a prediction needs.

Used for distribution fits in transformed axes and for the drift of a correction factor. Intercept and
slope are correlated; `predict` and `predict_u` go through the centre of gravity, where they are not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.core.refusal import require


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """y = intercept + slope x. `residual_sd` is that of unit weight; None with only two points.

    The uncertainties come from the given u of the points, or from the scatter about the line when
    no u was given (`from_scatter`).
    """

    intercept: float
    slope: float
    intercept_u: float
    slope_u: float
    covariance: float
    centre_x: float
    centre_y: float
    centre_u: float
    chi2: float
    dof: int
    from_scatter: bool

    @property
    def residual_sd(self) -> float | None:
        """Standard deviation about the line, in units of each point's u (of y when no u was given)."""
        return math.sqrt(self.chi2 / self.dof) if self.dof else None

    @property
    def correlation(self) -> float:
        """Correlation of intercept and slope."""
        return self.covariance / (self.intercept_u * self.slope_u)

    def predict(self, x: float) -> float:
        """Value of the line at x."""
        return self.centre_y + self.slope * (x - self.centre_x)

    def predict_u(self, x: float) -> float:
        """Standard uncertainty of the line at x, covariance included."""
        return math.hypot(self.centre_u, self.slope_u * (x - self.centre_x))


def fit_line(x: Sequence[float], y: Sequence[float], u: Sequence[float] | None = None) -> Line:
    """Least squares line; `u` are standard uncertainties of y, or None for equal weights from scatter.

    Raises `ResultError` with fewer than two different x, or fewer than three points without `u`.
    """
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    require(len(set(x)) >= 2, "a line needs at least two different points")
    require(u is not None or len(xs) > 2, "a line through two points has no scatter: give their uncertainty")
    weights = np.ones_like(xs) if u is None else 1 / np.asarray(u, dtype=float) ** 2
    total = math.fsum(weights)
    centre_x, centre_y = math.fsum(weights * xs) / total, math.fsum(weights * ys) / total
    dx, dy = xs - centre_x, ys - centre_y
    spread = math.fsum(weights * dx * dx)
    slope = math.fsum(weights * dx * dy) / spread
    chi2, dof = math.fsum(weights * (dy - slope * dx) ** 2), len(xs) - 2
    unit = 1.0 if u is not None else chi2 / dof
    slope_var, centre_var = unit / spread, unit / total
    return Line(
        intercept=centre_y - slope * centre_x,
        slope=slope,
        intercept_u=math.sqrt(centre_var + centre_x**2 * slope_var),
        slope_u=math.sqrt(slope_var),
        covariance=-centre_x * slope_var,
        centre_x=centre_x,
        centre_y=centre_y,
        centre_u=math.sqrt(centre_var),
        chi2=chi2,
        dof=dof,
        from_scatter=u is None,
    )
