"""Sizes read off between two neighbouring sieves, by an interpolation that is named with the result.

On plain axes passing is linear over the logarithm of aperture; on a family's paper its ordinate is. What
lies outside the sieves, or is crossed more than once because the points rise, is refused.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from logger.core.distribution.curve import Diameter
from logger.core.distribution.families import FAMILIES
from logger.core.distribution.points import SievePoint
from logger.core.refusal import ResultError, require

Axes = Literal["plain", "rrsb", "ggs", "log-normal"]

CHARACTERISTIC_PCT = (10.0, 50.0, 90.0)
"""Passing shares of d10, d50 and d90."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Characteristic:
    """One of d10, d50, d90: the size, or the reason why there is none."""

    passing_pct: float
    diameter: Diameter | None
    reason: str


def interpolated(points: Sequence[SievePoint], passing_pct: float, axes: Axes = "plain") -> Diameter:
    """Size that this share passes, between two neighbouring sieves, with the points' uncertainty.

    The error of the interpolation itself is not known from the points and is not in `u_um`.
    """
    require(0 < passing_pct < 100, f"a passing share lies between 0 and 100 %, not {passing_pct:g}")
    passing = [p.passing_pct for p in points]
    name = f"d{passing_pct:g}"
    require(
        min(passing) <= passing_pct,
        f"{name} lies below the finest sieve ({points[0].aperture_um:g} µm passes {passing[0]:.1f} %): "
        "add a finer sieve or take it from a fit",
    )
    require(
        max(passing) >= passing_pct,
        f"{name} lies above the coarsest sieve ({points[-1].aperture_um:g} µm passes {passing[-1]:.1f} %): "
        "add a coarser sieve or take it from a fit",
    )
    crossed = [
        (a, b)
        for a, b in pairwise(points)
        if a.passing_pct != b.passing_pct
        and min(a.passing_pct, b.passing_pct) <= passing_pct <= max(a.passing_pct, b.passing_pct)
    ]
    found = [_between(a, b, passing_pct, axes) for a, b in crossed]
    same = all(math.isclose(d.d_um, found[0].d_um, rel_tol=1e-12) for d in found)
    require(bool(found) and same, f"{name} is crossed more than once: the points rise, so it is not given")
    return found[0]


def characteristic(points: Sequence[SievePoint], axes: Axes = "plain") -> tuple[Characteristic, ...]:
    """d10, d50 and d90 where the sieves reach them; the reason where they do not."""
    return tuple(_one(points, passing_pct, axes) for passing_pct in CHARACTERISTIC_PCT)


def _one(points: Sequence[SievePoint], passing_pct: float, axes: Axes) -> Characteristic:
    try:
        diameter = interpolated(points, passing_pct, axes)
    except ResultError as refusal:
        return Characteristic(passing_pct=passing_pct, diameter=None, reason=str(refusal))
    return Characteristic(passing_pct=passing_pct, diameter=diameter, reason="")


def _between(a: SievePoint, b: SievePoint, passing_pct: float, axes: Axes) -> Diameter:
    (ya, ua), (yb, ub) = _ordinate(a, axes), _ordinate(b, axes)
    target, _ = _ordinate(SievePoint(aperture_um=1.0, residue_pct=100 - passing_pct, u_pct=0.0), axes)
    share = (target - ya) / (yb - ya)
    width = math.log(b.aperture_um / a.aperture_um)
    log_u = abs(width / (yb - ya)) * math.hypot((1 - share) * ua, share * ub)
    d_um = a.aperture_um * math.exp(share * width)
    ordinate = "passing" if axes == "plain" else f"the ordinate of {FAMILIES[axes].title} paper"
    return Diameter(
        passing_pct=passing_pct,
        d_um=d_um,
        u_um=d_um * log_u,
        extrapolated=False,
        basis=f"{ordinate} linear over log aperture between {a.aperture_um:g} and {b.aperture_um:g} µm",
    )


def _ordinate(point: SievePoint, axes: Axes) -> tuple[float, float]:
    if axes == "plain":
        return point.passing_pct, point.u_pct
    require(
        0 < point.residue_pct < 100,
        f"{point.residue_pct:g} % residue on {point.aperture_um:g} µm has no place on "
        f"{FAMILIES[axes].title} paper: use plain axes",
    )
    share = point.residue_pct / 100
    return FAMILIES[axes].ordinate(share), point.u_pct / 100 * FAMILIES[axes].ordinate_slope(share)
