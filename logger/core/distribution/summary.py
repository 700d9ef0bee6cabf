"""Everything that is said of a distribution: points with their full uncertainty, sizes, fits, refusals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from logger.core.distribution.curve import Diameter
from logger.core.distribution.families import FAMILIES
from logger.core.distribution.fits import FamilyKey, Fit, Way, fit
from logger.core.distribution.interpolation import (
    CHARACTERISTIC_PCT,
    Axes,
    Characteristic,
    characteristic,
)
from logger.core.distribution.points import Distribution, SievePoint
from logger.core.distribution.surface import sauter_from_points_um, specific_surface_m2_per_cm3
from logger.core.refusal import ResultError

ORDER: tuple[FamilyKey, ...] = ("rrsb", "ggs", "log-normal")


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyFit:
    """One family: its fit or the reason why there is none; the same for its Sauter mean."""

    family: FamilyKey
    title: str
    fit: Fit | None
    reason: str
    sizes: tuple[Diameter, ...]
    sauter_um: float | None
    sauter_reason: str

    @property
    def specific_surface_m2_per_cm3(self) -> float | None:
        """That of the Sauter mean, None without one."""
        return None if self.sauter_um is None else specific_surface_m2_per_cm3(self.sauter_um)


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """`points` carry the full uncertainty; `aperture_u_pct` is what each sieve's aperture adds to it, None
    where that is not known, as `slope_basis` says."""

    distribution: Distribution
    points: tuple[SievePoint, ...]
    aperture_u_pct: tuple[float | None, ...]
    slope_pct_per_um: tuple[float | None, ...]
    slope_basis: str
    sizes: tuple[Characteristic, ...]
    sauter_um: float | None
    sauter_reason: str
    fits: tuple[FamilyFit, ...]

    @property
    def specific_surface_m2_per_cm3(self) -> float | None:
        """That of the points' Sauter mean, None without one."""
        return None if self.sauter_um is None else specific_surface_m2_per_cm3(self.sauter_um)


def summarise(
    found: Distribution,
    aperture_u_um: Sequence[float | None],
    way: Way = "line",
    axes: Axes = "plain",
) -> Summary:
    """Sizes and the three fits, weighted by the points' uncertainties.

    `aperture_u_um` holds the standard uncertainty of each sieve's mean aperture, None where it is not known.
    A first fit gives the slopes; with them the apertures enter the points, and the fits are made again.
    """
    first = _fits(found.points, way)
    best = _best(first)
    slopes = [None if best is None else best.curve.slope_pct_per_um(p.aperture_um) for p in found.points]
    aperture = [
        None if slope is None or u_um is None else abs(slope) * u_um
        for slope, u_um in zip(slopes, aperture_u_um, strict=True)
    ]
    whole = all(u is not None for u in aperture)
    points = found.points
    if whole:
        points = tuple(
            replace(p, u_pct=math.hypot(p.u_pct, u or 0.0)) for p, u in zip(points, aperture, strict=True)
        )
    sauter_um, sauter_reason = _sauter(points)
    return Summary(
        distribution=found,
        points=points,
        aperture_u_pct=tuple(aperture),
        slope_pct_per_um=tuple(slopes),
        slope_basis=_basis(best, whole, aperture_u_um, found.points),
        sizes=characteristic(points, axes),
        sauter_um=sauter_um,
        sauter_reason=sauter_reason,
        fits=_fits(points, way) if whole else first,
    )


def _sauter(points: Sequence[SievePoint]) -> tuple[float | None, str]:
    try:
        return sauter_from_points_um(points), ""
    except ResultError as refusal:
        return None, str(refusal)


def _fits(points: Sequence[SievePoint], way: Way) -> tuple[FamilyFit, ...]:
    return tuple(_fit(points, family, way) for family in ORDER)


def _fit(points: Sequence[SievePoint], family: FamilyKey, way: Way) -> FamilyFit:
    title, made, reason = FAMILIES[family].title, None, ""
    sauter_um, sauter_reason = None, ""
    try:
        made = fit(points, family, way)
        sauter_um = made.curve.sauter_um
    except ResultError as refusal:
        reason, sauter_reason = ("", str(refusal)) if made is not None else (str(refusal), "there is no fit")
    return FamilyFit(
        family=family,
        title=title,
        fit=made,
        reason=reason,
        sizes=() if made is None else tuple(made.diameter(share) for share in CHARACTERISTIC_PCT),
        sauter_um=sauter_um,
        sauter_reason=sauter_reason,
    )


def _best(fits: Sequence[FamilyFit]) -> Fit | None:
    """The fit that lies nearest the points; slopes near them hardly depend on the family."""
    made = [each.fit for each in fits if each.fit is not None]
    return min(made, key=lambda f: math.inf if f.chi2 is None else f.chi2, default=None)


def _basis(best: Fit | None, whole: bool, u_um: Sequence[float | None], points: Sequence[SievePoint]) -> str:
    if best is None:
        return "apertures not included: no fit gives the slope of the curve"
    if not whole:
        bare = [f"{p.aperture_um:g} µm" for p, u in zip(points, u_um, strict=True) if u is None]
        return f"apertures not included: nothing is known of the sieves {', '.join(bare)}"
    return f"apertures included, with slopes of the {best.curve.family.title} fit"
