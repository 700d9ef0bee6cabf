"""The run as a watcher sees it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from logger.core.method import Method
from logger.core.readings import Quality
from logger.core.run.engine import RunEngine
from logger.core.run.instruct import lid_text
from logger.core.run.mass import MassTracker
from logger.core.run.run import Run
from logger.core.run.states import RunState
from logger.core.snapshot import (
    AlarmView,
    Level,
    MassView,
    PressureView,
    RateView,
    ResultView,
    RunView,
    WeighingView,
)


def run_view(engine: RunEngine, run_id: str, now_ns: int) -> RunView:
    """Everything of the run that a screen may want."""
    run, facts, plan = engine.run, engine.run.facts, engine.run.plan
    method = plan.method
    load_g = _load_g(run)
    return RunView(
        run_id=run_id,
        sample_id=plan.sample.sample_id,
        operator_id=plan.sample.operator_id,
        lot=plan.sample.lot,
        method_id=method.method.id,
        method_title=method.method.title,
        method_revision=method.method.revision,
        mode=method.weighing.mode,
        rule=method.endpoint.rule,
        aperture_um=plan.aperture_um,
        charge_target_g=plan.charge_target_g,
        charge_tolerance_g=method.charge.tolerance_g,
        charge_g=facts.charge_g,
        tare_g=facts.tare_g,
        elapsed_s=facts.elapsed_s(now_ns) if not engine.ended else facts.decision_s,
        effective_s=run.pressure.effective_s,
        interval_done_s=run.interval_done_s(),
        interval_target_s=facts.interval_target_s,
        min_time_s=method.endpoint.min_time_s,
        max_time_s=method.endpoint.max_time_s,
        out_of_band_s=run.pressure.out_of_band_s,
        load_g=load_g,
        load_pct=None if load_g is None or not facts.charge_g else 100 * load_g / facts.charge_g,
        weighings=tuple(
            WeighingView(
                effective_s=w.effective_s, load_g=w.load_g, load_pct=100 * w.load_g / (facts.charge_g or 1.0)
            )
            for w in facts.weighings
        ),
        rate=_rate(run),
        result=_result(run),
        held_reason=facts.held_reason,
    )


def _load_g(run: Run) -> float | None:
    """Live: what the estimator holds the load to be. Interval: the last weighing."""
    if run.live is not None and run.facts.suction_start_ns is not None and run.facts.result == {}:
        return run.live.state().load_g
    return run.facts.weighings[-1].load_g if run.facts.weighings else None


def _rate(run: Run) -> RateView:
    limit = run.plan.method.endpoint.limit_pct_per_min
    if run.live is not None and run.facts.suction_start_ns is not None and not run.facts.decision:
        state = run.live.state()
        low, middle, high = (None, None, None)
        if state.forecast_s is not None:
            middle, low, high = state.forecast_s
        return RateView(
            rate_pct_per_min=state.rate_pct_per_min,
            rate_u_pct_per_min=state.rate_u_pct_per_min,
            limit_pct_per_min=limit,
            text=state.text,
            open_conditions=state.open_conditions,
            forecast_s=middle,
            forecast_low_s=low,
            forecast_high_s=high,
        )
    return _decided_rate(run, limit)


def _decided_rate(run: Run, limit: float | None) -> RateView:
    decision = run.facts.decision
    is_rate = bool(decision) and decision["rule"] == "loss-rate"
    return RateView(
        rate_pct_per_min=decision["value"] if is_rate else None,
        rate_u_pct_per_min=decision["value_u"] if is_rate else None,
        limit_pct_per_min=limit,
        text=decision.get("text", ""),
        open_conditions=tuple(decision.get("open_conditions", ())),
        forecast_s=None,
        forecast_low_s=None,
        forecast_high_s=None,
    )


def _result(run: Run) -> ResultView | None:
    facts, state = run.facts, run.state
    if state in (RunState.ABORTED, RunState.INVALID, RunState.INTERRUPTED):
        return ResultView(
            outcome=state.value,
            residue_pct=None,
            residue_u_pct=None,
            passing_pct=None,
            residue_g=None,
            reason=facts.ended_reason,
        )
    if not facts.result:
        return None
    assessed = facts.result["assessment"]
    judged = assessed["decision"]
    return ResultView(
        outcome=facts.outcome,
        residue_pct=assessed["residue_pct"],
        residue_u_pct=assessed["budget"]["u_pct"],
        passing_pct=assessed["passing_pct"],
        residue_g=facts.result["residue_g"],
        reason=facts.ended_reason,
        decision=judged["outcome"] if judged else "",
        decided=_by_which_limit(assessed["residue_pct"], judged)
        if judged
        else _no_decision(facts.outcome, run.plan.method),
    )


def _by_which_limit(residue_pct: float, judged: Mapping[str, Any]) -> str:
    """The limit that the figure keeps to, misses, or is too near to."""
    low, high = judged["low_pct"], judged["high_pct"]
    if judged["outcome"] == "accept":
        if low is not None and high is not None:
            return f"{low:g} to {high:g} %"
        return f"at least {low:g} %" if high is None else f"at most {high:g} %"
    limit = min((each for each in (low, high) if each is not None), key=lambda each: abs(each - residue_pct))
    if judged["outcome"] == "reject":
        return f"{'above' if limit == high else 'below'} {limit:g} %"
    return f"too near {limit:g} %"


def _no_decision(outcome: str, method: Method) -> str:
    """In a few words; the log has the sentence of `why_undecided`."""
    if method.result.residue_max_pct is None and method.result.residue_min_pct is None:
        return "no limits in the method"
    if outcome != "endpoint":
        return "stopped by hand" if outcome == "stopped" else "ended at its time limit"
    if method.determinations.count > 1:
        return f"takes {method.determinations.count} determinations"
    return "not corrected for the sieve"


def mass_view(mass: MassTracker, now_ns: int) -> MassView:
    """What the balance shows; no number while it is stale or bad."""
    last = mass.last
    good = last is not None and last.quality is Quality.OK and mass.fresh(now_ns)
    digit_g = mass.digit_g
    return MassView(
        value_g=last.value if last is not None and good else None,
        stable=mass.steady_g(now_ns) is not None,
        quality="none" if last is None else ("stale" if not mass.fresh(now_ns) else last.quality.value),
        decimals=max(0, len(f"{digit_g:.6f}".rstrip("0").partition(".")[2])),
        raw=last.raw if last is not None else "",
    )


def pressure_view(run: Run, now_ns: int) -> PressureView:
    """The pressure against the method's band."""
    suction, pressure = run.plan.method.suction, run.pressure
    fresh = pressure.fresh(now_ns)
    return PressureView(
        dp_pa=pressure.dp_pa if fresh else None,
        quality="ok" if fresh else "stale",
        nominal_pa=suction.dp_pa,
        low_pa=suction.dp_pa - suction.band_pa,
        high_pa=suction.dp_pa + suction.band_pa,
        in_band=fresh and pressure.in_band(pressure.dp_pa),
        lid=lid_text(run, now_ns),
    )


def alarm_views(run: Run) -> tuple[AlarmView, ...]:
    """Alarms that stand now, loudest first."""
    order = {"alarm": 0, "warning": 1}
    found = sorted(run.alarms.items(), key=lambda item: order.get(item[1][0], 2))
    return tuple(AlarmView(key=key, level=_level(level), text=text) for key, (level, text) in found)


def _level(level: str) -> Level:
    return "alarm" if level == "alarm" else "warning"
