"""The endpoint from weighings made between intervals of sieving: may the run stop, and why.

Three rules. *loss-rate*: % of the charge lost per minute sieved since the weighing before (the test-sieving
standards' way of counting). *relative-change*: change as % of the mass weighed before, or in grams (the
pharmacopoeias' way). *fixed-time*: effective sieving time alone. Masses in g, times in effective seconds.

At the limit itself this project's rules say "<= limit"; the published loss-rate rule says "less than".
The two differ only when a loss equals the limit to the last digit of the balance, and then ours stops.
Balance readings are decimals held as binary fractions, so "equal" means equal within 1e-9 of the limit.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from logger.core.interval_proposal import expected_interval_s
from logger.core.method import Endpoint, Method

Z_STOP = 2.0
"""Standard errors between the estimated rate and margin x limit. 1.5 stopped early three times as often
in simulations, 2.5 only waited longer."""
Z_GAIN = 3.0
"""A mass that rose by more than this many standard uncertainties of a difference is not noise."""
SPAN_TOLERANCE = 0.95
"""An interval cut a little short (the jet stops by hand) still counts as one interval."""
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class WeighingPoint:
    """The load on the sieve after `effective_s` of sieving in all; the charge is the point at 0 s."""

    effective_s: float
    load_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class IntervalJudgement:
    """The decision after a weighing. `value` is a rate (%/min), a change (% or g) or a time (s), see `unit`.

    `open_conditions` are what still keeps the run going, as sentences; empty exactly when `stop`.
    `text` explains the decision with its numbers. `next_interval_s` is 0 when the run may stop.
    """

    stop: bool
    outcome: Literal["endpoint", "none"]
    rule: str
    value: float | None
    value_u: float | None
    limit: float
    unit: str
    residue_pct: float
    open_conditions: tuple[str, ...]
    text: str
    next_interval_s: float


@dataclass(frozen=True, slots=True)
class _Finding:
    value: float | None
    value_u: float | None
    limit: float
    unit: str
    open_conditions: tuple[str, ...]
    met: str


def loss_rate_pct_per_min(charge_g: float, earlier: WeighingPoint, later: WeighingPoint) -> float:
    """100 (m1 - m2) / m0 per minute sieved between the two weighings (positive: mass was lost)."""
    minutes = (later.effective_s - earlier.effective_s) / 60.0
    return 100.0 * (earlier.load_g - later.load_g) / charge_g / minutes


def loss_rate_u(charge_g: float, span_s: float, mass_u_g: float) -> float:
    """Standard uncertainty of that rate when each weighing has `mass_u_g`, independently (%/min)."""
    return math.sqrt(2.0) * mass_u_g * 6000.0 / (charge_g * span_s)


def judge_interval(
    method: Method, charge_g: float, points: Sequence[WeighingPoint], mass_u_g: float
) -> IntervalJudgement:
    """Judges the weighings so far (`points[0]` is the charge at 0 s) under the method's own rule.

    `mass_u_g` is the standard uncertainty of one weighing. Where weighings are closer together than the
    method's interval, the earlier one of the pair is the latest that lies a whole interval back, so dense
    weighings give a sliding window. Raises ValueError when the points cannot be meant.
    """
    _check(charge_g, points, mass_u_g)
    finding = _find(method, charge_g, points, mass_u_g)
    stop = not finding.open_conditions
    residue_pct = 100.0 * points[-1].load_g / charge_g
    share = f"residue {residue_pct:.2f} % of the charge after {points[-1].effective_s:.0f} s"
    reason = finding.met if stop else "; ".join(finding.open_conditions)
    return IntervalJudgement(
        stop=stop,
        outcome="endpoint" if stop else "none",
        rule=method.endpoint.rule,
        value=finding.value,
        value_u=finding.value_u,
        limit=finding.limit,
        unit=finding.unit,
        residue_pct=residue_pct,
        open_conditions=finding.open_conditions,
        text=f"{'Endpoint' if stop else 'Go on'}: {reason} ({share}).",
        next_interval_s=0.0 if stop else _next_interval_s(method, charge_g, points, mass_u_g),
    )


def _check(charge_g: float, points: Sequence[WeighingPoint], mass_u_g: float) -> None:
    if not charge_g > 0:
        raise ValueError(f"the charge must be above zero, not {charge_g} g")
    if mass_u_g < 0:
        raise ValueError(f"the uncertainty of a weighing must not be negative, is {mass_u_g} g")
    if not points or points[0].effective_s != 0:
        raise ValueError("the first weighing must be the charge, at 0 s")
    for earlier, later in itertools.pairwise(points):
        if later.effective_s <= earlier.effective_s:
            raise ValueError(
                f"effective time must rise between weighings: {later.effective_s:g} s follows"
                f" {earlier.effective_s:g} s"
            )


def _find(method: Method, charge_g: float, points: Sequence[WeighingPoint], mass_u_g: float) -> _Finding:
    if method.endpoint.rule == "fixed-time":
        return _fixed_time(method.endpoint, points[-1])
    earlier = _earlier(points, method.weighing.interval_s or 0.0)
    if method.endpoint.rule == "loss-rate":
        finding = _loss_rate(method.endpoint, charge_g, earlier, points[-1], mass_u_g)
    else:
        finding = _relative_change(method.endpoint, charge_g, earlier, points[-1], mass_u_g)
    return _with_general_conditions(method.endpoint, earlier, points[-1], mass_u_g, finding)


def _earlier(points: Sequence[WeighingPoint], interval_s: float) -> WeighingPoint | None:
    """The weighing before; when that is much less than an interval ago, the latest a whole interval back."""
    last = points[-1]
    before = points[:-1]
    if not before or last.effective_s - before[-1].effective_s >= SPAN_TOLERANCE * interval_s:
        return before[-1] if before else None
    far = [p for p in before if _at_most(interval_s, last.effective_s - p.effective_s)]
    return far[-1] if far else before[0]


def _with_general_conditions(
    endpoint: Endpoint, earlier: WeighingPoint | None, last: WeighingPoint, mass_u_g: float, found: _Finding
) -> _Finding:
    still = list(found.open_conditions)
    if earlier and last.load_g - earlier.load_g > Z_GAIN * math.sqrt(2.0) * mass_u_g + ROUNDING * last.load_g:
        gain_g = last.load_g - earlier.load_g
        still.append(
            f"the mass rose by {gain_g:.4f} g since the weighing before: find the cause, weigh again"
        )
    if last.effective_s < endpoint.min_time_s:
        still.append(f"minimum time: {last.effective_s:.0f} s of {endpoint.min_time_s:.0f} s sieved")
    return _Finding(found.value, found.value_u, found.limit, found.unit, tuple(still), found.met)


def _loss_rate(
    endpoint: Endpoint, charge_g: float, earlier: WeighingPoint | None, last: WeighingPoint, mass_u_g: float
) -> _Finding:
    limit = endpoint.limit_pct_per_min or 0.0
    if earlier is None:
        return _Finding(None, None, limit, "%/min", ("no weighing after the charge yet",), "")
    rate = loss_rate_pct_per_min(charge_g, earlier, last)
    span_s = last.effective_s - earlier.effective_s
    se = loss_rate_u(charge_g, span_s, mass_u_g)
    ceiling = endpoint.margin * limit
    still: list[str] = []
    if not _at_most(rate, limit):
        still.append(f"loss rate {rate:.3f} %/min is above the limit of {limit:g} %/min")
    elif not _at_most(rate + Z_STOP * se, ceiling):
        still.append(_uncertain_sentence(endpoint, charge_g, rate, se, mass_u_g))
    met = (
        f"loss rate {rate:.3f} %/min is at or below the limit of {limit:g} %/min, and with"
        f" {Z_STOP:g} standard errors ({rate + Z_STOP * se:.3f} %/min) at or below {ceiling:g} %/min"
    )
    return _Finding(rate, se, limit, "%/min", tuple(still), met)


def _uncertain_sentence(endpoint: Endpoint, charge_g: float, rate: float, se: float, mass_u_g: float) -> str:
    ceiling = endpoint.margin * (endpoint.limit_pct_per_min or 0.0)
    need_s = interval_for_certainty_s(endpoint, charge_g, mass_u_g)
    return (
        f"loss rate {rate:.3f} %/min is below the limit but too uncertain: with {Z_STOP:g} standard errors"
        f" it could be {rate + Z_STOP * se:.3f} %/min, more than {ceiling:g} %/min"
        f" (intervals of {need_s:.0f} s or more would settle it)"
    )


def interval_for_certainty_s(endpoint: Endpoint, charge_g: float, mass_u_g: float) -> float:
    """The shortest interval whose rate, when at the limit, is certain enough to stop (s)."""
    limit = endpoint.limit_pct_per_min or 0.0
    room = (endpoint.margin - 1.0) * limit
    return Z_STOP * loss_rate_u(charge_g, 1.0, mass_u_g) / room if room > 0 else math.inf


def _relative_change(
    endpoint: Endpoint, charge_g: float, earlier: WeighingPoint | None, last: WeighingPoint, mass_u_g: float
) -> _Finding:
    """Percentage of the previous mass, grams, or both; the small-residue clause looks at the residue now.

    Under that clause the wider percentage alone is enough, whatever `combine` says; with "either" the
    grams stay enough as well (the clause widens the rule and must never narrow it).
    """
    small = _residue_is_small(endpoint, charge_g, last)
    pct_limit = endpoint.small_change_pct if small else endpoint.change_pct
    unit, limit = ("%", pct_limit) if pct_limit is not None else ("g", endpoint.change_g or 0.0)
    if earlier is None:
        return _Finding(None, None, limit, unit, ("no weighing after the charge yet",), "")
    change_g = earlier.load_g - last.load_g
    change_pct = 100.0 * change_g / earlier.load_g if earlier.load_g > 0 else 0.0
    tests = []
    if pct_limit is not None:
        tests.append((f"change {change_pct:.2f} % of the previous mass", change_pct, pct_limit, "%"))
    if endpoint.change_g is not None and not (small and endpoint.combine == "both"):
        tests.append((f"change {change_g:.4f} g", change_g, endpoint.change_g, "g"))
    passed = [_at_most(value, bound) for _, value, bound, _ in tests]
    done = all(passed) if endpoint.combine == "both" else any(passed)
    said = [
        f"{name} is {'at or below' if ok else 'above'} {bound:g} {u}"
        for (name, _, bound, u), ok in zip(tests, passed, strict=True)
    ]
    clause = f" (small-residue clause: less than {endpoint.small_residue_pct:g} % left)" if small else ""
    joined = f" {'and' if endpoint.combine == 'both' else 'or'} ".join(said) + clause
    value = change_pct if unit == "%" else change_g
    value_u = _change_u(earlier, last, mass_u_g, unit)
    return _Finding(value, value_u, limit, unit, () if done else (joined,), joined)


def _change_u(earlier: WeighingPoint, last: WeighingPoint, mass_u_g: float, unit: str) -> float:
    if unit == "g":
        return math.sqrt(2.0) * mass_u_g
    if earlier.load_g <= 0:
        return 0.0
    return 100.0 * mass_u_g / earlier.load_g * math.hypot(1.0, last.load_g / earlier.load_g)


def _residue_is_small(endpoint: Endpoint, charge_g: float, last: WeighingPoint) -> bool:
    share = endpoint.small_residue_pct
    return share is not None and 100.0 * last.load_g / charge_g < share


def _fixed_time(endpoint: Endpoint, last: WeighingPoint) -> _Finding:
    time_s = endpoint.time_s or 0.0
    done = _at_most(time_s, last.effective_s)
    said = f"{last.effective_s:.0f} s of {time_s:.0f} s sieved"
    return _Finding(last.effective_s, None, time_s, "s", () if done else (said,), said)


def _next_interval_s(
    method: Method, charge_g: float, points: Sequence[WeighingPoint], mass_u_g: float
) -> float:
    interval_s = method.weighing.interval_s
    if method.endpoint.rule == "fixed-time":
        left_s = max((method.endpoint.time_s or 0.0) - points[-1].effective_s, 0.0)
        wanted = method.weighing.first_s if len(points) == 1 else interval_s
        return min(wanted, left_s) if wanted else left_s
    if len(points) == 1:
        return method.weighing.first_s
    usual_s = interval_s or method.weighing.first_s
    if not method.weighing.propose_interval or method.endpoint.rule != "loss-rate":
        return usual_s
    limit = method.endpoint.limit_pct_per_min or 0.0
    settled_s = max(usual_s, interval_for_certainty_s(method.endpoint, charge_g, mass_u_g))
    times = [p.effective_s for p in points]
    loads_pct = [100.0 * p.load_g / charge_g for p in points]
    noise_pct = 100.0 * mass_u_g / charge_g
    return expected_interval_s(times, loads_pct, noise_pct, limit, min(settled_s, 4.0 * usual_s))


def _at_most(value: float, bound: float) -> bool:
    return value <= bound + ROUNDING * abs(bound)
