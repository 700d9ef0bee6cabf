"""Is the residue within its limits? Three outcomes by a named rule, with the probability of conformity.

Rules as in JCGM 106:2012 (inputs from memory). The guard band w is `guard` times the expanded
uncertainty U. `simple` compares the value with the limits alone and never says inconclusive.
`guarded-accept` protects the user of the powder: accept only inside the limits by w, reject outside them,
inconclusive between. `guarded-reject` protects its maker: reject only outside the limits by w.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from logger.core.method import ResultRules
from logger.core.quantiles import normal_cdf
from logger.core.refusal import require_not_negative
from logger.core.rounding import rounded_u_text

Outcome = Literal["accept", "inconclusive", "reject"]
Rule = Literal["simple", "guarded-accept", "guarded-reject"]

_SLACK_PCT = 1e-9
"""Keeps a value that lies on a limit from falling either way by the last binary digit."""

_TEXTS = {
    "accept": "within the limits",
    "inconclusive": "neither accepted nor rejected: too near a limit for its uncertainty",
    "reject": "outside the limits",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """Outcome with everything that made it; shares in % of the charge.

    `guard_pct` is the width of the guard band (0 for the simple rule). `probability` is that of a true
    value within the limits, for a normal distribution of standard uncertainty `u_pct`.
    """

    outcome: Outcome
    rule: Rule
    value_pct: float
    u_pct: float
    expanded_u_pct: float
    guard_pct: float
    low_pct: float | None
    high_pct: float | None
    probability: float
    text: str


def decide(value_pct: float, u_pct: float, expanded_u_pct: float, rules: ResultRules) -> Decision | None:
    """Decision on an unrounded residue; None when the method sets no limit.

    `u_pct` is the standard and `expanded_u_pct` the expanded uncertainty, in % of the charge.
    """
    require_not_negative(u_pct=u_pct, expanded_u_pct=expanded_u_pct)
    low, high = rules.residue_min_pct, rules.residue_max_pct
    if low is None and high is None:
        return None
    guard_pct = 0.0 if rules.rule == "simple" else rules.guard * expanded_u_pct
    outcome = _outcome(value_pct, guard_pct, rules)
    probability = probability_of_conformity(value_pct, u_pct, low, high)
    return Decision(
        outcome=outcome,
        rule=rules.rule,
        value_pct=value_pct,
        u_pct=u_pct,
        expanded_u_pct=expanded_u_pct,
        guard_pct=guard_pct,
        low_pct=low,
        high_pct=high,
        probability=probability,
        text=_sentence(outcome, guard_pct, probability, rules),
    )


def probability_of_conformity(
    value_pct: float, u_pct: float, low_pct: float | None, high_pct: float | None
) -> float:
    """Probability that the true value lies within the limits (JCGM 106, 7.2; normal distribution)."""
    if u_pct == 0:
        return float(_inside(value_pct, 0.0, low_pct, high_pct))
    above_low = 1.0 if low_pct is None else normal_cdf((value_pct - low_pct) / u_pct)
    above_high = 0.0 if high_pct is None else normal_cdf((value_pct - high_pct) / u_pct)
    return above_low - above_high


def _inside(value_pct: float, margin_pct: float, low: float | None, high: float | None) -> bool:
    """Is the value inside the limits moved inwards by the margin (outwards when negative)?"""
    over = high is not None and value_pct > high - margin_pct + _SLACK_PCT
    under = low is not None and value_pct < low + margin_pct - _SLACK_PCT
    return not (over or under)


def _outcome(value_pct: float, guard_pct: float, rules: ResultRules) -> Outcome:
    low, high = rules.residue_min_pct, rules.residue_max_pct
    accept_margin = guard_pct if rules.rule == "guarded-accept" else 0.0
    reject_margin = -guard_pct if rules.rule == "guarded-reject" else 0.0
    if _inside(value_pct, accept_margin, low, high):
        return "accept"
    return "inconclusive" if _inside(value_pct, reject_margin, low, high) else "reject"


def _sentence(outcome: Outcome, guard_pct: float, probability: float, rules: ResultRules) -> str:
    limits = [
        f"{word} {value:g} %"
        for word, value in (("at least", rules.residue_min_pct), ("at most", rules.residue_max_pct))
        if value is not None
    ]
    text = f"{outcome}: {_TEXTS[outcome]} (residue {' and '.join(limits)}), rule {rules.rule}"
    if rules.rule != "simple":
        text += f" with a guard band of {rounded_u_text(guard_pct)} % ({rules.guard:g} U)"
    low, high = rules.residue_min_pct, rules.residue_max_pct
    narrow = low is not None and high is not None and high - low < 2 * guard_pct
    if rules.rule == "guarded-accept" and narrow:
        text += "; the limits are closer together than two guard bands, so no value can be accepted"
    return text + f"; probability of conformity {_percent(probability)}"


def _percent(probability: float) -> str:
    """The probability in %, never rounded to a certainty that no weighing gives."""
    if probability < 0.001:
        return "below 0.1 %"
    if probability > 0.999:
        return "above 99.9 %"
    return f"{100 * probability:.1f} %"
