"""An assessment as lines for a person: the figures as reported, correction, decision, the budget as a table."""

from __future__ import annotations

from logger.core.record_assessment import RecordAssessment, RecordCorrection, budget_lines
from logger.core.rounding import rounded_u_text


def assessment_lines(found: RecordAssessment, outcome: str = "endpoint") -> list[str]:
    """Every figure with what it rests on. A run without its endpoint says so beside the figure."""
    not_final = "" if outcome == "endpoint" else f"   (outcome {outcome}: no endpoint)"
    lines = [
        f"Residue    {found.residue_text} % ± {found.expanded_u_text} %{not_final}",
        f"Passing    {found.passing_text} % ± {found.expanded_u_text} %",
        f"           k = {found.budget.k:.2f}, coverage {100 * found.budget.coverage:g} %; {found.rounding_text}",
    ]
    if found.budget.not_included:
        names = ", ".join(missing.name for missing in found.budget.not_included)
        lines.append(f"           not included in ±: {names}")
    if found.corrected is not None:
        lines.append(f"Correction {_correction_words(found.corrected)}")
    if found.uncorrected:
        lines.append(f"Correction none, the figures are raw: {found.uncorrected}")
    if found.decision is not None:
        lines.append(f"Decision   {found.decision.text}")
    else:
        lines.append(f"Decision   none: {found.undecided}")
    if found.twice_as_long_loss_pct is not None:
        more = rounded_u_text(found.twice_as_long_loss_pct, 1)
        lines.append(f"Estimate   sieving twice as long would take off about {more} % of the charge more")
    return [*lines, "", "Uncertainty budget", *(f"  {line}" for line in budget_lines(found))]


def _correction_words(found: RecordCorrection) -> str:
    return (
        f"raw {found.raw_residue_pct:.3f} % times {found.factor:.4f} (standard uncertainty "
        f"{rounded_u_text(found.factor_u)}), reference powder {found.certificate} on sieve {found.sieve_id}, "
        f"{found.checked_on}"
    )
