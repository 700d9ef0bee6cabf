"""The assessment of a run's determination as the record keeps it: plain figures, every field with its unit.

Kept in the event that carries the result and in the record alike, so that both say the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from logger.core.assessment import Assessment
from logger.core.correction import Corrected
from logger.core.uncertainty import Budget, Component, NotIncluded


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordComponent:
    """One source of uncertainty. `u` is in `unit`, `contribution_pct` in % of the charge; `dof` null: endless."""

    name: str
    u: float
    unit: str
    sensitivity: float
    contribution_pct: float
    dof: float | None
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordNotIncluded:
    """A source that acts on the result and has no figure here."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordBudget:
    """Standard uncertainty `u_pct`, effective degrees of freedom, coverage factor and U = k u."""

    components: tuple[RecordComponent, ...]
    not_included: tuple[RecordNotIncluded, ...]
    u_pct: float
    dof: float | None
    coverage: float
    k: float
    expanded_u_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordCorrection:
    """Correction for the sieve by a reference powder: raw and corrected residue, % of the charge."""

    sieve_id: str
    raw_residue_pct: float
    raw_residue_u_pct: float
    residue_pct: float
    residue_u_pct: float
    factor: float
    factor_u: float
    certified_pct: float
    certified_u_pct: float
    found_pct: float
    found_u_pct: float
    checked_on: str
    certificate: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordDecision:
    """Outcome by a named rule, width of the guard band, and the probability of a true value within limits."""

    outcome: Literal["accept", "inconclusive", "reject"]
    rule: Literal["simple", "guarded-accept", "guarded-reject"]
    guard_pct: float
    low_pct: float | None
    high_pct: float | None
    probability: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordAssessment:
    """Residue and passing of this determination with uncertainty and decision.

    `residue_pct` is corrected for the sieve where `corrected` is there, else raw; `uncorrected` says why a
    correction that the method asks for is missing, `undecided` why there is no decision. The texts are
    rounded once, by the rule in `rounding_text`.
    """

    determinations: int
    raw_residue_pct: float
    residue_pct: float
    passing_pct: float
    budget: RecordBudget
    corrected: RecordCorrection | None
    uncorrected: str
    decision: RecordDecision | None
    undecided: str
    twice_as_long_loss_pct: float | None
    """Estimate of what sieving twice as long would still take off, % of the charge; null where no rate is known."""
    residue_text: str
    passing_text: str
    expanded_u_text: str
    rounding_text: str
    statement: str


def kept(found: Assessment, twice_as_long_loss_pct: float | None = None) -> RecordAssessment:
    """The assessment in the form that is kept; the estimate belongs to a single run."""
    decision = found.decision
    return RecordAssessment(
        determinations=len(found.verdict.values_pct),
        raw_residue_pct=found.raw_pct,
        residue_pct=found.residue_pct,
        passing_pct=found.passing_pct,
        budget=_budget(found.budget),
        corrected=None if found.corrected is None else _correction(found.corrected),
        uncorrected=found.uncorrected,
        decision=None
        if decision is None
        else RecordDecision(
            outcome=decision.outcome,
            rule=decision.rule,
            guard_pct=decision.guard_pct,
            low_pct=decision.low_pct,
            high_pct=decision.high_pct,
            probability=decision.probability,
            text=decision.text,
        ),
        undecided=found.undecided,
        twice_as_long_loss_pct=twice_as_long_loss_pct,
        residue_text=found.residue_text,
        passing_text=found.passing_text,
        expanded_u_text=found.expanded_u_text,
        rounding_text=found.rounding_text,
        statement=found.statement,
    )


def _budget(found: Budget) -> RecordBudget:
    return RecordBudget(
        components=tuple(
            RecordComponent(
                name=part.name,
                u=part.u,
                unit=part.unit,
                sensitivity=part.sensitivity,
                contribution_pct=part.contribution_pct,
                dof=_finite(part.dof),
                basis=part.basis,
            )
            for part in found.components
        ),
        not_included=tuple(RecordNotIncluded(name=n.name, reason=n.reason) for n in found.not_included),
        u_pct=found.u_pct,
        dof=_finite(found.dof),
        coverage=found.coverage,
        k=found.k,
        expanded_u_pct=found.expanded_u_pct,
    )


def _correction(found: Corrected) -> RecordCorrection:
    factor = found.factor
    return RecordCorrection(
        sieve_id=factor.sieve_id,
        raw_residue_pct=found.raw_pct,
        raw_residue_u_pct=found.raw_u_pct,
        residue_pct=found.residue_pct,
        residue_u_pct=found.residue_u_pct,
        factor=factor.factor,
        factor_u=factor.factor_u,
        certified_pct=factor.certified_pct,
        certified_u_pct=factor.certified_u_pct,
        found_pct=factor.found_pct,
        found_u_pct=factor.found_u_pct,
        checked_on=factor.checked_on.isoformat(),
        certificate=factor.certificate,
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def read_assessment(data: Mapping[str, Any] | None) -> RecordAssessment | None:
    """The assessment from its JSON values; None where a run has none."""
    if data is None:
        return None
    budget, corrected, decision = data["budget"], data["corrected"], data["decision"]
    parts = {
        "budget": RecordBudget(
            **(
                budget
                | {
                    "components": tuple(RecordComponent(**part) for part in budget["components"]),
                    "not_included": tuple(RecordNotIncluded(**part) for part in budget["not_included"]),
                }
            )
        ),
        "corrected": None if corrected is None else RecordCorrection(**corrected),
        "decision": None if decision is None else RecordDecision(**decision),
    }
    return RecordAssessment(**({"twice_as_long_loss_pct": None} | dict(data) | parts))


def budget_lines(found: RecordAssessment) -> tuple[str, ...]:
    """The budget as a table of plain text, as `Budget.lines` prints it."""
    kept_budget = found.budget
    return Budget(
        components=tuple(component(part) for part in kept_budget.components),
        not_included=tuple(NotIncluded(name=n.name, reason=n.reason) for n in kept_budget.not_included),
        u_pct=kept_budget.u_pct,
        dof=math.inf if kept_budget.dof is None else kept_budget.dof,
        coverage=kept_budget.coverage,
        k=kept_budget.k,
        expanded_u_pct=kept_budget.expanded_u_pct,
    ).lines


def component(part: RecordComponent) -> Component:
    """A kept component as one of a budget again."""
    dof = math.inf if part.dof is None else part.dof
    return Component(
        name=part.name,
        u=part.u,
        unit=part.unit,
        sensitivity=part.sensitivity,
        dof=dof,
        basis=part.basis,
    )
