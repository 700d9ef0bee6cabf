"""From what a run recorded to its determination: residue, endpoint term, assessment."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from logger.core.assessment import Assessment, assess
from logger.core.endpoint_term import interval_endpoint, live_endpoint
from logger.core.interval_rules import WeighingPoint, loss_rate_pct_per_min
from logger.core.method import Method
from logger.core.refusal import ResultError
from logger.core.register.planned import PlannedSieve
from logger.core.residue import Residue, residue
from logger.core.residue_budget import loss_if_twice_as_long_pct
from logger.core.run.facts import RunFacts
from logger.core.uncertainty import Component, NotIncluded
from logger.core.weighing import BalanceSpec

PLATFORM_READINGS = 2
"""Live mode reads the bare platform before and after, beside the three readings of every run."""


def determination(facts: RunFacts, method: Method, spec: BalanceSpec) -> Residue:
    """Residue of the run from its weighings. Raises `ResultError` for what is impossible."""
    tare_g = facts.tare_g or 0.0
    return residue(
        tare_g,
        facts.charge_gross_g or 0.0,
        tare_g + facts.weighings[-1].load_g,
        spec,
        PLATFORM_READINGS if method.weighing.mode == "live" else 0,
    )


def result_data(found: Residue) -> dict[str, Any]:
    """Residue and passing as weighed, as the result's event and the record have them."""
    return {
        "charge_g": round(found.charge_g, 6),
        "residue_g": round(found.residue_g, 6),
        "residue_pct": found.residue_pct,
        "passing_pct": found.passing_pct,
        "residue_u_weighing_pct": found.residue_u_pct,
        "below_minimum_weight": found.below_minimum_weight,
        "warnings": list(found.warnings),
    }


def endpoint_term(facts: RunFacts, method: Method, spec: BalanceSpec) -> Component | NotIncluded:
    """What the place of the stop leaves open, with the delay until the suction was off."""
    if method.weighing.mode == "live":
        decision = facts.decision if facts.decision.get("unit") == "%/min" else {}
        rate, rate_u = decision.get("value"), decision.get("value_u")
        return live_endpoint(rate, rate_u, facts.decision_s, facts.suction_off_s)
    points = [WeighingPoint(w.effective_s, w.load_g) for w in facts.weighings]
    due_s, off_s = facts.jet_due_off_s, facts.suction_off_s
    late_s = 0.0 if due_s is None or off_s is None else max(0.0, off_s - due_s)
    return interval_endpoint(points[0].load_g, points, spec.mass_u_g, late_s)


def twice_as_long_loss_pct(facts: RunFacts, method: Method) -> float | None:
    """Estimate of what sieving twice as long would still take off, % of the charge; None without a rate."""
    if method.weighing.mode == "live":
        rate = facts.decision.get("value") if facts.decision.get("unit") == "%/min" else None
        at_s = facts.decision_s
    else:
        points = [WeighingPoint(w.effective_s, w.load_g) for w in facts.weighings]
        at_s = points[-1].effective_s
        rate = loss_rate_pct_per_min(points[0].load_g, *points[-2:]) if len(points) > 2 else None
    if rate is None or at_s is None:
        return None
    return loss_if_twice_as_long_pct(max(0.0, rate), at_s)


def assess_run(
    facts: RunFacts, method: Method, spec: BalanceSpec, planned: PlannedSieve | None, found: Residue
) -> Assessment:
    """The run's own determination, assessed by itself, whatever number the method asks for.

    Raises `ResultError` when not even the raw residue can be stood behind.
    """
    single = replace(method, determinations=replace(method.determinations, count=1))
    term = endpoint_term(facts, method, spec)
    sieve = None if planned is None else planned.sieve
    factor = None if planned is None else planned.factor
    uncorrected = ""
    try:
        whole = assess([found], [term], single, spec, sieve, factor)
    except ResultError as refusal:
        if method.sieve.correction == "none":
            raise
        uncorrected = str(refusal)
        raw = replace(single, sieve=replace(single.sieve, correction="none"))
        whole = assess([found], [term], raw, spec, sieve)
    undecided = why_undecided(facts.outcome, method, uncorrected)
    decision = None if undecided else whole.decision
    return replace(whole, decision=decision, undecided=undecided, uncorrected=uncorrected)


def why_undecided(outcome: str, method: Method, uncorrected: str = "") -> str:
    """Why one run gives no decision against the limits; empty when it does."""
    rules = method.result
    if rules.residue_max_pct is None and rules.residue_min_pct is None:
        return "the method sets no limits"
    if outcome != "endpoint":
        return f"the run ended as {outcome}, not at its endpoint: more may still pass"
    if uncorrected:
        return "the residue is not corrected for the sieve, as the method asks"
    if method.determinations.count > 1:
        return (
            f"the method asks for {method.determinations.count} determinations: "
            "`lastgrain results` joins them and decides"
        )
    return ""
