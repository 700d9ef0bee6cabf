"""Points of a distribution: residue on each sieve, finest first, as found.

Fresh portion: every sieve had its own test portion, so the errors of neighbouring points are independent
and a coarser sieve may come out with more residue than a finer one. Same portion: what stayed on a
sieve was carried to the next coarser one, so losses in carrying over can be counted. Points that rise
are reported and stay as they are; nothing is sorted or smoothed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from logger.core.refusal import require, require_finite, require_not_negative
from logger.core.residue import residue
from logger.core.weighing import BalanceSpec

Portion = Literal["fresh", "same"]

_SURE = 2.0
"""A rise beyond this many standard uncertainties of the difference is no chance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SievePoint:
    """Cumulative residue on one sieve, % of the charge, with its standard uncertainty."""

    aperture_um: float
    residue_pct: float
    u_pct: float

    def __post_init__(self) -> None:
        require_not_negative(u_pct=self.u_pct)
        require_finite(residue_pct=self.residue_pct, aperture_um=self.aperture_um)
        require(self.aperture_um > 0, f"a sieve's aperture must be above zero, not {self.aperture_um} µm")

    @property
    def passing_pct(self) -> float:
        """100 less the residue."""
        return 100 - self.residue_pct


@dataclass(frozen=True, slots=True, kw_only=True)
class PortionStep:
    """Weighings in g on one sieve of a portion that is carried upwards from the finest sieve.

    `further_readings` as in `residue`: 2 where the bare platform was read before and after.
    """

    aperture_um: float
    tare_g: float
    gross_charge_g: float
    gross_after_g: float
    further_readings: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class MassBalance:
    """Mass unaccounted for, in g and % of the charge, against its limit. Negative: mass was gained."""

    loss_g: float
    loss_pct: float
    limit_pct: float
    within: bool
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeClass:
    """Share of the charge between two sieves; None is below the finest or above the coarsest."""

    above_um: float | None
    below_um: float | None
    share_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Distribution:
    """Cumulative points, finest first, with what must be said about them."""

    points: tuple[SievePoint, ...]
    portion: Portion
    notices: tuple[str, ...]
    balance: MassBalance | None = None

    @property
    def classes(self) -> tuple[SizeClass, ...]:
        """Shares between neighbouring sieves and beyond both ends; together 100 %."""
        first, last = self.points[0], self.points[-1]
        between = (
            SizeClass(above_um=a.aperture_um, below_um=b.aperture_um, share_pct=a.residue_pct - b.residue_pct)
            for a, b in pairwise(self.points)
        )
        return (
            SizeClass(above_um=None, below_um=first.aperture_um, share_pct=first.passing_pct),
            *between,
            SizeClass(above_um=last.aperture_um, below_um=None, share_pct=last.residue_pct),
        )


def from_fresh_portions(points: Sequence[SievePoint]) -> Distribution:
    """One determination (or mean) a sieve, finest first. `ResultError` when out of order or doubled."""
    _check_order([p.aperture_um for p in points])
    return Distribution(points=tuple(points), portion="fresh", notices=_rises(points))


def from_same_portion(steps: Sequence[PortionStep], spec: BalanceSpec, loss_limit_pct: float) -> Distribution:
    """One portion over all sieves, finest first; shares are of the first charge.

    Losses are what was weighed off one sieve and not weighed onto the next; they are stated against
    `loss_limit_pct` and not shared out. Raises `ResultError` as `residue` does, and for sieves out of
    order or doubled.
    """
    _check_order([s.aperture_um for s in steps])
    found = [residue(s.tare_g, s.gross_charge_g, s.gross_after_g, spec, s.further_readings) for s in steps]
    charge_g = found[0].charge_g
    points = [
        SievePoint(
            aperture_um=step.aperture_um,
            residue_pct=100 * item.residue_g / charge_g,
            u_pct=item.residue_u_pct
            if item is found[0]
            else _carried_u_pct(spec, step, item.residue_g / charge_g, charge_g),
        )
        for step, item in zip(steps, found, strict=True)
    ]
    lost_g = math.fsum(a.residue_g - b.charge_g for a, b in pairwise(found))
    return Distribution(
        points=tuple(points),
        portion="same",
        notices=_rises(points),
        balance=_balance(lost_g, charge_g, loss_limit_pct),
    )


def _carried_u_pct(spec: BalanceSpec, step: PortionStep, share: float, charge_g: float) -> float:
    """Of a residue over the charge of the finest sieve: two net masses, and the platform's further readings."""
    platform_g = math.sqrt(step.further_readings) * spec.mass_u_g
    return 100 * math.hypot(spec.net_u_g, spec.net_u_g * share, platform_g) / charge_g


def mass_balance(charge_g: float, residue_g: float, collected_g: float, loss_limit_pct: float) -> MassBalance:
    """Charge against residue and collected passing of one run, g; the limit is in % of the charge."""
    require_finite(charge_g=charge_g, residue_g=residue_g, collected_g=collected_g)
    require(charge_g > 0, "a mass balance needs a charge above zero")
    return _balance(charge_g - residue_g - collected_g, charge_g, loss_limit_pct)


def _balance(loss_g: float, charge_g: float, limit_pct: float) -> MassBalance:
    require_not_negative(loss_limit_pct=limit_pct)
    loss_pct = 100 * loss_g / charge_g
    within = abs(loss_pct) <= limit_pct
    word = "lost" if loss_g >= 0 else "gained"
    text = f"{abs(loss_pct):.2f} % of the charge {word}, {'within' if within else 'beyond'} {limit_pct:g} %"
    if not within:
        text += ": look at lid, gasket and brush, and whether the powder took up or gave off water"
    return MassBalance(loss_g=loss_g, loss_pct=loss_pct, limit_pct=limit_pct, within=within, text=text)


def _check_order(apertures_um: Sequence[float]) -> None:
    require(len(apertures_um) >= 2, "a distribution needs two or more sieves")
    for finer, coarser in pairwise(apertures_um):
        require(finer != coarser, f"the {finer:g} µm sieve is given twice: keep one, or their mean")
        require(
            finer < coarser,
            f"sieves must be given from the finest upwards: {coarser:g} µm stands after {finer:g} µm",
        )


def _rises(points: Sequence[SievePoint]) -> tuple[str, ...]:
    found: list[str] = []
    for finer, coarser in pairwise(points):
        rise = coarser.residue_pct - finer.residue_pct
        if rise > 0:
            sure = rise > _SURE * math.hypot(finer.u_pct, coarser.u_pct)
            why = "more than chance: check both sieves and both runs" if sure else "within chance"
            found.append(
                f"residue rises from {finer.residue_pct:.2f} % on {finer.aperture_um:g} µm to "
                f"{coarser.residue_pct:.2f} % on {coarser.aperture_um:g} µm, {why}; kept as found"
            )
    return tuple(found)
