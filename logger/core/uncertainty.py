"""Uncertainty budget of a residue: components, effective degrees of freedom, coverage, expanded value.

After the GUM (JCGM 100): contributions are sensitivity times standard uncertainty, added as squares;
degrees of freedom by Welch and Satterthwaite, cut to the whole number below (G.4). A source that is
known to act but has no figure stands in the budget as *not included*, with the reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from logger.core.quantiles import t_quantile
from logger.core.refusal import require, require_finite, require_not_negative
from logger.core.rounding import rounded_text, rounded_u_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One source. `u` is in `unit`; `sensitivity` turns it into % of the charge. `basis` says from what."""

    name: str
    u: float
    unit: str = "%"
    sensitivity: float = 1.0
    dof: float = math.inf
    basis: str = ""

    def __post_init__(self) -> None:
        require_not_negative(u=self.u)
        require_finite(sensitivity=self.sensitivity)
        require(self.dof > 0, f"{self.name}: degrees of freedom must be above zero, not {self.dof}")

    @property
    def contribution_pct(self) -> float:
        """Standard uncertainty of the residue from this source alone, % of the charge."""
        return abs(self.sensitivity) * self.u


@dataclass(frozen=True, slots=True, kw_only=True)
class NotIncluded:
    """A source that acts on the result but has no figure in this budget."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Standard uncertainty `u_pct`, its effective degrees of freedom, k and U = k u, in % of the charge."""

    components: tuple[Component, ...]
    not_included: tuple[NotIncluded, ...]
    u_pct: float
    dof: float
    coverage: float
    k: float
    expanded_u_pct: float

    @property
    def lines(self) -> tuple[str, ...]:
        """The budget as a table of plain text, one source a line, sum and coverage below."""
        return tuple(_table(self))


def budget(
    components: Sequence[Component], coverage: float = 0.95, not_included: Sequence[NotIncluded] = ()
) -> Budget:
    """Add up the components; `coverage` is the two-sided probability of the expanded uncertainty."""
    require(0 < coverage < 1, f"coverage is a probability between 0 and 1, not {coverage}")
    require(bool(components), "an uncertainty budget needs at least one component")
    u_pct = math.hypot(*(c.contribution_pct for c in components))
    dof = effective_dof([(c.contribution_pct, c.dof) for c in components])
    k = t_quantile((1 + coverage) / 2, dof)
    return Budget(
        components=tuple(components),
        not_included=tuple(not_included),
        u_pct=u_pct,
        dof=dof,
        coverage=coverage,
        k=k,
        expanded_u_pct=k * u_pct,
    )


def effective_dof(contributions: Sequence[tuple[float, float]]) -> float:
    """Welch-Satterthwaite degrees of freedom, cut to the whole number below, at least 1 (GUM G.4)."""
    total = math.fsum(u**2 for u, _ in contributions)
    share = math.fsum((u**2 / total) ** 2 / dof for u, dof in contributions) if total > 0 else 0.0
    return math.inf if share == 0 else max(1.0, math.floor(1 / share + 1e-9))


def _table(found: Budget) -> list[str]:
    rows = [("source", "u", "unit", "sensitivity", "% of charge", "share", "dof", "from")]
    for c in found.components:
        share = (c.contribution_pct / found.u_pct) ** 2 if found.u_pct else 0.0
        rows.append(
            (
                c.name,
                f"{c.u:.3g}",
                c.unit,
                f"{c.sensitivity:.4g}",
                rounded_text(c.contribution_pct, 4),
                f"{100 * share:.0f} %",
                _dof_text(c.dof),
                c.basis,
            )
        )
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = ["  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip() for row in rows]
    lines += [f"not included: {missing.name} ({missing.reason})" for missing in found.not_included]
    lines.append(
        f"standard uncertainty u = {rounded_text(found.u_pct, 4)} % of the charge, "
        f"degrees of freedom {_dof_text(found.dof)}"
    )
    lines.append(
        f"expanded uncertainty U = {rounded_u_text(found.expanded_u_pct)} % of the charge "
        f"(k = {found.k:.3f}, coverage {100 * found.coverage:g} %)"
    )
    return lines


def _dof_text(dof: float) -> str:
    if math.isinf(dof):
        return "∞"
    return "> 1000" if dof > 1000 else f"{dof:g}"
