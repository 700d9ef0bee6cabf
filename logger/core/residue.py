"""Residue and passing of one determination from three weighings: tare, sieve with charge, sieve after.

The tare stands in the numerator and in the denominator, so its error partly cancels: with independent
readings of standard uncertainty u and a charge m0 the residue share R has
u(R) = (u / m0) sqrt(1 + R^2 + (1 - R)^2), less than the sum of two independent net masses would give.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.core.refusal import ResultError, require, require_finite
from logger.core.weighing import BalanceSpec

__all__ = ["BEYOND", "Reconciliation", "Residue", "ResultError", "reconcile", "residue", "residue_ratio_u"]

BEYOND = 3.0
"""A mass that is out of the possible by more than this many standard uncertainties is refused."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Residue:
    """Net masses in g and their shares in % of the charge, with standard uncertainties (k = 1).

    Values are unrounded and uncorrected for the sieve. The residue may be a digit below zero when the
    sieve came out empty: it is kept as found and said in `warnings`.
    """

    charge_g: float
    residue_g: float
    net_u_g: float
    residue_pct: float
    residue_u_pct: float
    passing_pct: float
    passing_u_pct: float
    below_minimum_weight: bool
    warnings: tuple[str, ...]
    further_readings: int = 0
    """Readings of the bare platform (live mode) beside the usual three; they are in the uncertainty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciliation:
    """Load read while the jet ran against the residue weighed afterwards; difference in % of the charge."""

    live_load_g: float
    weighed_g: float
    difference_pct: float
    within: bool
    text: str


def residue_ratio_u(share: float, reading_u_g: float, charge_g: float, further: int = 0) -> float:
    """Standard uncertainty of R = (a - t) / (c - t), as a share, for three readings of equal u.

    `further` readings enter `a` alone, as those of the bare platform do in live mode.
    """
    return reading_u_g / charge_g * math.sqrt(1 + share**2 + (1 - share) ** 2 + further)


def residue(
    tare_g: float, gross_charge_g: float, gross_after_g: float, spec: BalanceSpec, further_readings: int = 0
) -> Residue:
    """Residue and passing from the three readings in g.

    `further_readings` is 2 where `gross_after_g` holds the shift of a platform, read before and after.
    Raises `ResultError` when the charge is zero or not above its uncertainty, when the net residue is
    negative or above the charge by more than weighing can explain, and for what is not a number.
    """
    require_finite(tare_g=tare_g, gross_charge_g=gross_charge_g, gross_after_g=gross_after_g)
    charge_g, residue_g = gross_charge_g - tare_g, gross_after_g - tare_g
    _check_possible(charge_g, residue_g, spec)
    share = residue_g / charge_g
    u_pct = 100 * residue_ratio_u(share, spec.mass_u_g, charge_g, further_readings)
    return Residue(
        charge_g=charge_g,
        residue_g=residue_g,
        net_u_g=spec.net_u_g,
        residue_pct=100 * share,
        residue_u_pct=u_pct,
        passing_pct=100 * (1 - share),
        passing_u_pct=u_pct,
        below_minimum_weight=residue_g < spec.minimum_weight_g,
        warnings=_warnings(charge_g, residue_g, spec),
        further_readings=further_readings,
    )


def _check_possible(charge_g: float, residue_g: float, spec: BalanceSpec) -> None:
    beyond_g, digits = BEYOND * spec.net_u_g, spec.decimals
    require(
        charge_g > beyond_g,
        f"charge is {charge_g:.{digits}f} g, no more than weighing alone can show: "
        "weigh the sieve empty and with the charge again",
    )
    require(
        residue_g >= -beyond_g,
        f"net residue is {residue_g:.{digits}f} g: the sieve weighs less than its tare by more than "
        "weighing can explain; check the tare, the sieve for damage, and weigh again",
    )
    require(
        residue_g - charge_g <= beyond_g,
        f"net residue {residue_g:.{digits}f} g is above the charge {charge_g:.{digits}f} g by more than "
        "weighing can explain; check that the same sieve was weighed and nothing was added",
    )


def _warnings(charge_g: float, residue_g: float, spec: BalanceSpec) -> tuple[str, ...]:
    digits, least_g = spec.decimals, spec.minimum_weight_g
    found: list[str] = []
    if residue_g < 0:
        found.append(
            f"net residue is {residue_g:.{digits}f} g, zero within the uncertainty of weighing: "
            "it is kept as found"
        )
    if residue_g > charge_g:
        found.append("net residue is above the charge by no more than the uncertainty of weighing")
    if residue_g < least_g:
        found.append(
            f"net residue {residue_g:.{digits}f} g is below the minimum weight of this balance, "
            f"{least_g:.{digits}f} g (2 s at most 0.10 % of the mass, USP <41>)"
        )
    if charge_g < least_g:
        found.append(
            f"charge {charge_g:.{digits}f} g is below the minimum weight of this balance, "
            f"{least_g:.{digits}f} g (2 s at most 0.10 % of the mass, USP <41>)"
        )
    return tuple(found)


def reconcile(live_load_g: float, weighed: Residue, reconcile_pct: float) -> Reconciliation:
    """Compare the load at suction off with the weighed residue; `reconcile_pct` is in % of the charge.

    Dust that stays in housing or hose stays on the platform, so a difference beyond the limit is a
    deviation; the weighed residue is the result either way.
    """
    require_finite(live_load_g=live_load_g, reconcile_pct=reconcile_pct)
    difference_pct = 100 * (live_load_g - weighed.residue_g) / weighed.charge_g
    within = abs(difference_pct) <= reconcile_pct
    side = "above" if difference_pct >= 0 else "below"
    text = (
        f"live load was {abs(difference_pct):.2f} % of the charge {side} the weighed residue, "
        f"{'within' if within else 'beyond'} the {reconcile_pct:g} % allowed"
    )
    if not within:
        text += ": look for dust in housing and hose, a touching hose, or powder spilt when lifting the sieve"
    return Reconciliation(
        live_load_g=live_load_g,
        weighed_g=weighed.residue_g,
        difference_pct=difference_pct,
        within=within,
        text=text,
    )
