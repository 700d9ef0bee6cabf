"""Several determinations of one sample: do they agree, what is the result, what to do next.

Repeatability limit r = 2.8 s_r; critical range of n values f(n) s_r with f = 2.8, 3.3, 3.6, 3.9 ... as
printed in ISO 5725-6 (from memory, agrees with the computed 95 % ranges). The scheme: values within the
critical range give the method's statistic; otherwise one more determination, up to four; then the median.
Determinations on one sieve do not see that sieve's aperture: agreement between them says nothing of it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from logger.core.method import Determinations
from logger.core.refusal import ResultError, require, require_finite, require_not_negative
from logger.core.residue_budget import repeatability_component
from logger.core.uncertainty import Component

Statistic = Literal["mean", "median"]
Status = Literal["incomplete", "one-more", "final"]

RANGE_FACTORS = {2: 2.8, 3: 3.3, 4: 3.6, 5: 3.9, 6: 4.0, 7: 4.2, 8: 4.3, 9: 4.4, 10: 4.5}
"""Critical range over s_r for n values, as printed in ISO 5725-6 (from memory)."""

MEDIAN_OVER_MEAN = {1: 1.0, 2: 1.0, 3: 1.160, 4: 1.092, 5: 1.198, 6: 1.135, 7: 1.214, 8: 1.160}
"""Standard deviation of a median over that of a mean, normal distribution (simulated)."""

MOST = 4
"""No more determinations are asked for than this, unless the method itself asks for more."""

_SLACK_PCT = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Where a sample stands after its determinations. `value_pct` is None until it is final."""

    status: Status
    values_pct: tuple[float, ...]
    value_pct: float | None
    statistic: Statistic
    range_pct: float
    critical_range_pct: float | None
    agree: bool | None
    text: str

    def result_pct(self) -> float:
        """The result; `ResultError` while determinations are still missing."""
        if self.value_pct is None:
            raise ResultError(self.text)
        return self.value_pct


def judge(values_pct: Sequence[float], rules: Determinations) -> Verdict:
    """Judge the residues of a sample's determinations, in % of the charge, in any order."""
    require_finite(**{f"determination {i}": value for i, value in enumerate(values_pct, start=1)})
    values = tuple(sorted(values_pct))
    range_pct = values[-1] - values[0] if values else 0.0
    critical = critical_range_pct(len(values), rules.repeatability_limit_pct)
    agree = None if critical is None else range_pct <= critical + _SLACK_PCT
    status, statistic = _status(len(values), agree, rules)
    value = centre(values, statistic) if status == "final" else None
    return Verdict(
        status=status,
        values_pct=tuple(values_pct),
        value_pct=value,
        statistic=statistic,
        range_pct=range_pct,
        critical_range_pct=critical,
        agree=agree,
        text=_sentence(status, statistic, len(values), range_pct, critical, agree, rules),
    )


def critical_range_pct(count: int, repeatability_limit_pct: float | None) -> float | None:
    """Range that `count` values exceed in 5 % of cases: r f(n) / 2.8; None without limit or below two."""
    if repeatability_limit_pct is None or count < 2:
        return None
    require(count in RANGE_FACTORS, f"no critical range is tabled for {count} determinations, at most 10")
    return repeatability_limit_pct * RANGE_FACTORS[count] / RANGE_FACTORS[2]


def centre(values: Sequence[float], statistic: Statistic) -> float:
    """Mean or median; exact under any order of the values."""
    require(bool(values), "no determination has been made")
    ordered, half = sorted(values), len(values) // 2
    if statistic == "mean":
        return math.fsum(ordered) / len(ordered)
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def sd(values: Sequence[float]) -> float:
    """Standard deviation of a sample of two or more values."""
    require(len(values) > 1, "a standard deviation needs two or more values")
    mean = math.fsum(values) / len(values)
    return math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (len(values) - 1))


def sd_from_pairs(differences_pct: Sequence[float]) -> float:
    """Repeatability standard deviation from the differences of k duplicates: sqrt(sum d^2 / (2 k))."""
    require(bool(differences_pct), "no duplicates to take the repeatability from")
    return math.sqrt(math.fsum(d**2 for d in differences_pct) / (2 * len(differences_pct)))


def repeatability_limit(s_r: float) -> float:
    """r = 2.8 s_r (ISO 5725-6; 1.96 sqrt 2 = 2.77, printed 2.8)."""
    require_not_negative(s_r=s_r)
    return RANGE_FACTORS[2] * s_r


def repeatability_of(verdict: Verdict, rules: Determinations) -> Component | None:
    """Repeatability component of a final result; None from one determination without a known limit.

    A repeatability limit of the method counts as known well (s_r = r / 2.8); without one the scatter
    of the determinations themselves is taken, with n - 1 degrees of freedom.
    """
    count, limit = len(verdict.values_pct), rules.repeatability_limit_pct
    if limit is None and count < 2:
        return None
    loss = MEDIAN_OVER_MEAN.get(count, math.sqrt(math.pi / 2)) if verdict.statistic == "median" else 1.0
    words = f"{verdict.statistic} of {count}"
    if limit is not None:
        s_r, dof = limit / RANGE_FACTORS[2], math.inf
        words += f", s_r = r / 2.8 from the method's r = {limit:g} %"
    else:
        s_r, dof = sd(verdict.values_pct), count - 1
        words += ", scatter of the determinations"
    return repeatability_component(s_r * loss, count, dof, words)


def _status(count: int, agree: bool | None, rules: Determinations) -> tuple[Status, Statistic]:
    if count < rules.count:
        return "incomplete", rules.statistic
    if agree is None or agree:
        return "final", rules.statistic
    return ("one-more", rules.statistic) if count < max(MOST, rules.count) else ("final", "median")


def _sentence(
    status: Status,
    statistic: Statistic,
    count: int,
    range_pct: float,
    critical: float | None,
    agree: bool | None,
    rules: Determinations,
) -> str:
    if status == "incomplete":
        return f"{count} of {rules.count} determinations done: do one more on a fresh test portion"
    if critical is None:
        return "one determination, as the method asks" if count == 1 else f"{statistic} of {count}"
    compared = f"{range_pct:.2f} % apart, {critical:.2f} % allowed for {count}"
    if status == "one-more":
        return f"the determinations are {compared}: do one more on a fresh test portion"
    if agree:
        return f"{statistic} of {count}, {compared}"
    return (
        f"median of {count}: the determinations are still {compared}; "
        "look for the cause (sampling, sieve, humidity) before relying on the result"
    )
