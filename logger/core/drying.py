"""Has the portion dried to constant mass? Two weighings far enough apart that differ little enough."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from logger.core.refusal import require, require_finite, require_not_negative

LIMIT_PCT = 0.1
LEAST_APART_S = 3600.0
"""Constant mass: weighings at least 1 h apart that differ by at most 0.1 % (EN 933-10, read second-hand)."""

_SLACK = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class DryingWeighing:
    """Mass of the portion in g at `at_s` seconds after drying began."""

    at_s: float
    mass_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ConstantMass:
    """Whether mass is constant, the change between the two weighings compared, in % of the earlier."""

    reached: bool
    change_pct: float | None
    apart_s: float | None
    text: str


def constant_mass(
    weighings: Sequence[DryingWeighing],
    limit_pct: float = LIMIT_PCT,
    least_apart_s: float = LEAST_APART_S,
) -> ConstantMass:
    """Compare the last weighing with the latest one that lies far enough before it.

    A gain counts as a change too: a portion that takes up water is not constant. Raises `ResultError`
    for weighings out of order or a mass that is not above zero.
    """
    require_not_negative(limit_pct=limit_pct, least_apart_s=least_apart_s)
    for earlier, later in pairwise(weighings):
        require(earlier.at_s <= later.at_s, "drying weighings must be given in the order of their times")
    for weighing in weighings:
        require_finite(mass_g=weighing.mass_g, at_s=weighing.at_s)
        require(weighing.mass_g > 0, f"a drying weighing of {weighing.mass_g:g} g cannot be meant")
    before = [w for w in weighings[:-1] if weighings[-1].at_s - w.at_s >= least_apart_s]
    if not before:
        text = f"no two weighings {least_apart_s / 60:g} min or more apart yet: dry on and weigh again"
        return ConstantMass(reached=False, change_pct=None, apart_s=None, text=text)
    return _compare(before[-1], weighings[-1], limit_pct)


def _compare(earlier: DryingWeighing, later: DryingWeighing, limit_pct: float) -> ConstantMass:
    change_pct = 100 * (later.mass_g - earlier.mass_g) / earlier.mass_g
    apart_s = later.at_s - earlier.at_s
    reached = abs(change_pct) <= limit_pct + _SLACK
    text = f"{change_pct:+.2f} % in {apart_s / 60:.0f} min, {limit_pct:g} % allowed: "
    text += "constant mass" if reached else "not constant yet, dry on and weigh again"
    return ConstantMass(reached=reached, change_pct=change_pct, apart_s=apart_s, text=text)
