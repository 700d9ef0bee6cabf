"""The result of a sample: determinations joined, corrected, with its budget, its decision, and its text.

One place puts the pieces of the result side together, so that record, report and screen say the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from logger.core.acceptance import Decision, decide
from logger.core.correction import Corrected, CorrectionFactor, correct_raw
from logger.core.determinations import Verdict, judge, repeatability_of
from logger.core.method import Method, ResultRules
from logger.core.refusal import ResultError, require
from logger.core.residue import Residue
from logger.core.residue_budget import (
    aperture_component,
    correction_component,
    scaled,
    weighing_components,
)
from logger.core.rounding import rounded, rounded_u_text, rounding_sentence
from logger.core.sieves import TestSieve
from logger.core.uncertainty import Budget, Component, NotIncluded, budget
from logger.core.weighing import BalanceSpec


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """Residue of a sample, % of the charge: unrounded, and as text rounded once by the method's rule.

    `raw_pct` is before correction, `residue_pct` after it where the method corrects. The texts of
    residue and passing add up to 100.
    """

    raw_pct: float
    residue_pct: float
    passing_pct: float
    verdict: Verdict
    corrected: Corrected | None
    budget: Budget
    decision: Decision | None
    residue_text: str
    passing_text: str
    expanded_u_text: str
    rounding_text: str
    statement: str
    uncorrected: str = ""
    """Why a correction that the method asks for is missing."""
    undecided: str = ""
    """Why there is no decision although the method sets limits, or that it sets none."""

    def body(self) -> dict[str, Any]:
        """As JSON values: no infinity (endless degrees of freedom are null), dates as text."""
        plain: dict[str, Any] = _plain(asdict(self))
        return plain | {"budget_lines": list(self.budget.lines)}


def assess(
    determinations: Sequence[Residue],
    endpoints: Sequence[Component | NotIncluded],
    method: Method,
    spec: BalanceSpec,
    sieve: TestSieve | None = None,
    factor: CorrectionFactor | None = None,
    slope_pct_per_um: float | None = None,
) -> Assessment:
    """Join the determinations of one sample on one sieve.

    `endpoints` holds the endpoint component of each determination, or why it has none (a fixed time
    without a known rate); the largest of these and the largest weighing uncertainty stand for all, which
    is the cautious side. `slope_pct_per_um` is that of the
    residue curve at the aperture, when a distribution of this powder is known.

    Raises `ResultError` while determinations are missing or still too far apart, when the method asks
    for a correction and the sieve has no factor, or the factor belongs to another sieve.
    """
    verdict = judge([d.residue_pct for d in determinations], method.determinations)
    require(len(endpoints) == len(determinations), "each determination needs its endpoint component")
    raw_pct = verdict.result_pct()
    worst = max(determinations, key=lambda d: d.residue_u_pct)
    parts, missing = list(weighing_components(worst, spec)), list[NotIncluded]()
    _sort(_endpoint(endpoints), parts, missing)
    _sort(_repeatability(verdict, method), parts, missing)
    used = _factor_for(method, sieve, factor)
    _sort(_aperture(sieve, slope_pct_per_um, used is not None), parts, missing)
    corrected = None
    if used is not None:
        raw_u_pct = math.hypot(*(part.contribution_pct for part in parts))
        corrected = correct_raw(raw_pct, raw_u_pct, used)
        parts = [scaled(part, used.factor) for part in parts]
        parts.append(correction_component(raw_pct, used.factor_u, f"check of {used.checked_on}"))
    total = budget(parts, method.result.coverage, missing)
    return _finish(raw_pct, corrected, verdict, total, method.result)


def _sort(found: Component | NotIncluded, parts: list[Component], missing: list[NotIncluded]) -> None:
    if isinstance(found, Component):
        parts.append(found)
    else:
        missing.append(found)


def _endpoint(endpoints: Sequence[Component | NotIncluded]) -> Component | NotIncluded:
    known = [e for e in endpoints if isinstance(e, Component)]
    unknown = [e for e in endpoints if isinstance(e, NotIncluded)]
    return unknown[0] if unknown else max(known, key=lambda e: e.contribution_pct)


def _repeatability(verdict: Verdict, method: Method) -> Component | NotIncluded:
    reason = "one determination, and the method knows no repeatability limit"
    known = repeatability_of(verdict, method.determinations)
    return known or NotIncluded(name="repeatability", reason=reason)


def _aperture(sieve: TestSieve | None, slope: float | None, corrected: bool) -> Component | NotIncluded:
    if sieve is None:
        return NotIncluded(name="aperture", reason="the sieve is not in the register")
    try:
        return aperture_component(slope, sieve.aperture_u_um, corrected, sieve.aperture_basis)
    except ResultError as refusal:
        return NotIncluded(name="aperture", reason=str(refusal))


def _factor_for(
    method: Method, sieve: TestSieve | None, factor: CorrectionFactor | None
) -> CorrectionFactor | None:
    if method.sieve.correction == "none":
        return None
    require(sieve is not None, "the method corrects for the sieve: choose the sieve from the register")
    sieve_id = sieve.id if sieve else ""
    if factor is None:
        raise ResultError(
            f"the method corrects for the sieve, and sieve {sieve_id} has no correction factor: "
            "check it with the reference powder first"
        )
    require(
        factor.sieve_id == sieve_id,
        f"the correction factor belongs to sieve {factor.sieve_id}, the run used sieve {sieve_id}",
    )
    return factor


def _finish(
    raw_pct: float, corrected: Corrected | None, verdict: Verdict, total: Budget, rules: ResultRules
) -> Assessment:
    residue_pct = corrected.residue_pct if corrected else raw_pct
    shown = rounded(residue_pct, rules.decimals, rules.rounding)
    expanded = rounded_u_text(total.expanded_u_pct)
    return Assessment(
        raw_pct=raw_pct,
        residue_pct=residue_pct,
        passing_pct=100 - residue_pct,
        verdict=verdict,
        corrected=corrected,
        budget=total,
        decision=decide(residue_pct, total.u_pct, total.expanded_u_pct, rules),
        residue_text=f"{shown:f}",
        passing_text=f"{100 - shown:f}",
        expanded_u_text=expanded,
        rounding_text=rounding_sentence(rules.decimals, rules.rounding),
        statement=f"residue {shown:f} % of the charge, expanded uncertainty {expanded} % "
        f"(k = {total.k:.2f}, coverage {100 * total.coverage:g} %{_without(total)})",
    )


def _without(total: Budget) -> str:
    """What the expanded uncertainty leaves out, said beside it."""
    names = ", ".join(missing.name for missing in total.not_included)
    return f"; not included: {names}" if names else ""


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value if value is None or isinstance(value, str | int | float) else str(value)
