"""Rules side by side on one run: when each would have stopped, and what it left or wasted. Pure."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

from logger.core.endpoint.feasibility import weighing_u_g
from logger.core.interval_rules import WeighingPoint
from logger.core.method import Endpoint, Method
from logger.core.replay import (
    LoadTrack,
    charge_of,
    is_interval_trace,
    judge_in_turn,
    live_twin,
    replay,
    replay_live,
    weighings_from,
)
from logger.core.rig import Rig
from logger.core.trace import Trace

FIXED_TIMES_S = (180.0, 300.0, 600.0)
USUAL_LIMIT = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleResult:
    """One rule on one run. `left_pct`: residue at its stop less residue at the first rule's stop (powder that
    would still have passed, % of the charge); `longer_s`: its stop less that of the first rule."""

    rule: str
    outcome: str
    endpoint_s: float | None
    residue_pct: float | None
    left_pct: float | None = None
    longer_s: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain data."""
        return {k: round(v, 4) if isinstance(v, float) else v for k, v in asdict(self).items()}


def compare_rules(
    trace: Trace, methods: list[tuple[str, Method]], rig: Rig | None, charge_g: float | None
) -> list[RuleResult]:
    """The given methods first (the first is what the others are measured against), then the usual rules:
    loss rate from weighings a minute apart, 5 % of the previous mass in 5 min, and fixed times."""
    _, method = methods[0]
    charge = charge_of(trace, method, charge_g)
    used = rig if rig is not None else Rig(readability_g=trace.readability_g())
    results = []
    for name, given in methods:
        answer = replay(trace, given, used, charge)
        results.append(
            RuleResult(
                rule=name,
                outcome=answer.outcome,
                endpoint_s=answer.endpoint_s,
                residue_pct=answer.residue_pct if answer.endpoint_s is not None else None,
            )
        )
    known = _known_load(trace, method, used, charge)
    results += [_usual(name, rule, known, used, charge) for name, rule in _usual_rules(method)]
    return [_against(results[0], result) for result in results]


def _known_load(trace: Trace, method: Method, rig: Rig, charge: float) -> LoadTrack:
    if is_interval_trace(trace, method):
        rows = [(t, mass) for t, mass, _, _ in trace.rows() if mass is not None and t > 0]
        times = tuple(t for t, _ in rows)
        return LoadTrack(times, times, tuple(100.0 * mass / charge for _, mass in rows))
    return replay_live(trace, live_twin(method), rig, charge)[1]


def _usual_rules(method: Method) -> list[tuple[str, Method]]:
    limit = method.endpoint.limit_pct_per_min or USUAL_LIMIT
    longest = method.endpoint.max_time_s

    def variant(interval_s: float, **endpoint: Any) -> Method:
        weighing = replace(
            method.weighing,
            mode="interval",
            interval_s=interval_s,
            first_interval_s=interval_s,
            propose_interval=False,
        )
        rule = Endpoint(min_time_s=0.0, max_time_s=longest, **endpoint)
        return replace(method, weighing=weighing, endpoint=rule)

    minute = variant(60.0, rule="loss-rate", limit_pct_per_min=limit)
    change = variant(300.0, rule="relative-change", change_pct=5.0)
    fixed = [
        (f"fixed {t:.0f} s", variant(t, rule="fixed-time", time_s=t)) for t in FIXED_TIMES_S if t < longest
    ]
    return [(f"{limit:g} %/min, weighed each minute", minute), ("5 % change in 5 min", change), *fixed]


def _usual(name: str, method: Method, known: LoadTrack, rig: Rig, charge: float) -> RuleResult:
    interval = method.weighing.interval_s or 60.0
    points = weighings_from(known, charge, interval, interval)
    stop: WeighingPoint | None = None
    for point, judgement in judge_in_turn(points, method, charge, weighing_u_g(rig)):
        if judgement.stop:
            stop = point
            break
    if stop is None:
        return RuleResult(rule=name, outcome="end-of-trace", endpoint_s=None, residue_pct=None)
    clock_s = next(
        (t for t, e in zip(known.t_s, known.effective_s, strict=True) if e >= stop.effective_s),
        stop.effective_s,
    )
    return RuleResult(
        rule=name, outcome="endpoint", endpoint_s=clock_s, residue_pct=100.0 * stop.load_g / charge
    )


def _against(first: RuleResult, result: RuleResult) -> RuleResult:
    if None in (first.endpoint_s, first.residue_pct, result.endpoint_s, result.residue_pct):
        return result
    assert first.endpoint_s is not None
    assert first.residue_pct is not None
    assert result.endpoint_s is not None
    assert result.residue_pct is not None
    return replace(
        result,
        left_pct=result.residue_pct - first.residue_pct,
        longer_s=result.endpoint_s - first.endpoint_s,
    )
