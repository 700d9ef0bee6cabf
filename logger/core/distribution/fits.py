"""Fits of a distribution to sieve points, weighted by the uncertainty of each point.

Two ways, and the record says which. *line*: a straight line on the family's paper, each point weighted
by 1 / u(z)^2 with u(z) = u(R) |dz/dR| (for RRSB u(R) / (R |ln R|)); an unweighted line is biased. Points
at 0 or 100 % have no place on the paper: they are left out and named. *direct*: least squares in the
residue itself, points at 0 and 100 % included.

Standard errors come from the points' uncertainties, widened by sqrt(chi^2 / dof) where the points lie
further from the curve than these allow; the probability of so large a chi^2 is the lack of fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from logger.core.distribution.curve import Curve, Diameter
from logger.core.distribution.families import FAMILIES, Family
from logger.core.distribution.least_squares import Array, least_squares
from logger.core.distribution.points import SievePoint
from logger.core.line import fit_line
from logger.core.propagation import propagated_u
from logger.core.quantiles import chi2_above
from logger.core.refusal import require

Way = Literal["line", "direct"]
FamilyKey = Literal["rrsb", "ggs", "log-normal"]

LACKING = 0.05
"""Below this probability the curve is said not to fit within the points' uncertainties."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A point that did not enter a fit, and why."""

    aperture_um: float
    residue_pct: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A fitted curve. `log_scale_u` is that of ln(scale); `covariance` is of ln(scale) and shape.

    `chi2` is in units of the points' u; None with the scatter alone as weight. `lack_of_fit` is the
    probability of a chi^2 as large by chance, None with only two points. `widened` is the factor put on
    the standard errors.
    """

    curve: Curve
    way: Way
    weighted: bool
    log_scale_u: float
    shape_u: float
    covariance: float
    chi2: float | None
    dof: int
    lack_of_fit: float | None
    widened: float
    used: tuple[SievePoint, ...]
    left_out: tuple[LeftOut, ...]
    text: str

    @property
    def scale_u_um(self) -> float:
        """Standard uncertainty of d', k or d50, µm."""
        return self.curve.scale_um * self.log_scale_u

    @property
    def s_u(self) -> float:
        """Standard uncertainty of s = 1 / shape (log-normal)."""
        return self.shape_u / self.curve.shape**2

    def diameter(self, passing_pct: float) -> Diameter:
        """Size that this share passes, with the uncertainty of both parameters and their covariance."""
        d_um, z = self.curve.diameter_um(passing_pct), self.curve.family.ordinate(1 - passing_pct / 100)
        values = (math.log(self.curve.scale_um), self.curve.shape)
        matrix = ((self.log_scale_u**2, self.covariance), (self.covariance, self.shape_u**2))
        inside = self.used[0].aperture_um <= d_um <= self.used[-1].aperture_um
        basis = f"from the {self.curve.family.title} fit ({self.way})"
        return Diameter(
            passing_pct=passing_pct,
            d_um=d_um,
            u_um=propagated_u(lambda log_scale, b: math.exp(log_scale + z / b), values, matrix),
            extrapolated=not inside,
            basis=basis if inside else basis + ", outside the sieves: extrapolated",
        )


def fit(points: Sequence[SievePoint], family: FamilyKey, way: Way = "line", weighted: bool = True) -> Fit:
    """Fit one family to the points. Unweighted is only offered for the line, for comparison with paper.

    Raises `ResultError` with fewer than two points strictly between 0 and 100 %, for points of zero
    uncertainty when weighted, and for residues that do not fall with aperture.
    """
    require(weighted or way == "line", "a direct fit is always weighted by the points' uncertainties")
    chosen = FAMILIES[family]
    inner = [p for p in points if 0 < p.residue_pct < 100]
    require(
        len({p.aperture_um for p in inner}) >= 2,
        f"{chosen.title}: needs two or more sieves with a residue between 0 and 100 %, "
        f"there are {len(inner)}",
    )
    if weighted:
        for p in points:
            require(p.u_pct > 0, f"the point at {p.aperture_um:g} µm has no uncertainty to be weighted by")
    start = _line(inner, chosen, points, weighted)
    return start if way == "line" else _direct(points, start)


def _line(inner: Sequence[SievePoint], family: Family, points: Sequence[SievePoint], weighted: bool) -> Fit:
    shares = [p.residue_pct / 100 for p in inner]
    x = [math.log(p.aperture_um) for p in inner]
    y = [family.ordinate(share) for share in shares]
    u = [p.u_pct / 100 * family.ordinate_slope(share) for p, share in zip(inner, shares, strict=True)]
    line = fit_line(x, y, u if weighted else None)
    require(line.slope > 0, f"{family.title}: residue does not fall with aperture, there is nothing to fit")
    log_scale, b = line.centre_x - line.centre_y / line.slope, line.slope
    past = line.centre_y / b**2
    log_scale_var = (line.centre_u / b) ** 2 + (past * line.slope_u) ** 2
    return _finish(
        curve=Curve(family=family, scale_um=math.exp(log_scale), shape=b),
        way="line",
        weighted=weighted,
        variances=(log_scale_var, line.slope_u**2, past * line.slope_u**2),
        chi2=line.chi2,
        used=inner,
        left_out=[
            LeftOut(
                aperture_um=p.aperture_um,
                residue_pct=p.residue_pct,
                reason=f"{p.residue_pct:g} % residue has no place on {family.title} paper",
            )
            for p in points
            if not 0 < p.residue_pct < 100
        ],
    )


def _direct(points: Sequence[SievePoint], start: Fit) -> Fit:
    family = start.curve.family
    log_d = np.log([p.aperture_um for p in points])
    found_r = np.array([p.residue_pct for p in points])
    u = np.array([p.u_pct for p in points])

    def model(at: Array) -> tuple[Array, Array]:
        b = math.exp(at[1])
        z = b * (log_d - at[0])
        slope = np.array([family.slope(v) for v in z])
        predicted = 100 * np.array([family.residue(v) for v in z])
        jacobian = 100 * np.column_stack([-b * slope, z * slope]) / u[:, None]
        return (predicted - found_r) / u, jacobian

    solved = least_squares(model, [math.log(start.curve.scale_um), math.log(start.curve.shape)])
    b = math.exp(float(solved.parameters[1]))
    cov = solved.covariance
    return _finish(
        curve=Curve(family=family, scale_um=math.exp(float(solved.parameters[0])), shape=b),
        way="direct",
        weighted=True,
        variances=(float(cov[0, 0]), b * b * float(cov[1, 1]), b * float(cov[0, 1])),
        chi2=solved.chi2,
        used=points,
        left_out=[],
    )


def _finish(
    *,
    curve: Curve,
    way: Way,
    weighted: bool,
    variances: tuple[float, float, float],
    chi2: float,
    used: Sequence[SievePoint],
    left_out: Sequence[LeftOut],
) -> Fit:
    dof = len(used) - 2
    widened = math.sqrt(max(1.0, chi2 / dof)) if dof and weighted else 1.0
    lack = chi2_above(chi2, dof) if dof and weighted else None
    log_scale_u, shape_u = (widened * math.sqrt(v) for v in variances[:2])
    return Fit(
        curve=curve,
        way=way,
        weighted=weighted,
        log_scale_u=log_scale_u,
        shape_u=shape_u,
        covariance=widened**2 * variances[2],
        chi2=chi2 if weighted else None,
        dof=dof,
        lack_of_fit=lack,
        widened=widened,
        used=tuple(used),
        left_out=tuple(left_out),
        text=_sentence(curve, way, log_scale_u, shape_u, lack, len(left_out)),
    )


def _sentence(
    curve: Curve, way: Way, log_scale_u: float, shape_u: float, lack: float | None, left: int
) -> str:
    family, (name, shape) = curve.family, curve.named_shape
    text = (
        f"{family.title} ({way}): {family.scale_name} = {curve.scale_um:.2f} µm "
        f"(u {curve.scale_um * log_scale_u:.2g}), {name} = {shape:.4f} (u {shape * shape_u / curve.shape:.2g})"
    )
    if lack is None:
        text += "; lack of fit cannot be judged"
    elif lack < LACKING:
        text += f"; does not fit within the points' uncertainties (probability {lack:.2g})"
    else:
        text += f"; fits within the points' uncertainties (probability {lack:.2g})"
    return text + (f"; {left} point{'s' if left > 1 else ''} at 0 or 100 % left out" if left else "")
