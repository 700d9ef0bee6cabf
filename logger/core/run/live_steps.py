"""The steps of live mode: the rest before the jet, the samples, and the stop by rate."""

from __future__ import annotations

from logger.core.readings import Channel, Quality, Reading
from logger.core.run.events import EventKind as E
from logger.core.run.run import Run
from logger.core.run.states import JET, RunState


def on_reading(run: Run, reading: Reading) -> None:
    """Give a balance reading, with the pressure beside it, to the estimator (or keep it as rest)."""
    if run.live is None or reading.channel is not Channel.MASS:
        return
    mass_g = reading.value if reading.quality is Quality.OK else None
    load_g = None if mass_g is None else mass_g - (run.facts.tare_g or 0.0)
    dp_pa = run.pressure.dp_pa if run.pressure.fresh(reading.at_ns) else None
    start_ns = run.facts.suction_start_ns
    if start_ns is None or run.rest:
        # The rest goes on in order of arrival, also the reading that arrived while the suction was noticed.
        run.rest.append((reading.at_ns, load_g, dp_pa, reading.stable))
        hand_on_rest(run)
    elif run.state in JET or run.state in (RunState.HELD, RunState.RELEASING):
        deciding = run.state in JET
        run.live.add((reading.at_ns - start_ns) / 1e9, load_g, dp_pa, reading.stable, deciding)
    if load_g is not None and run.state in (RunState.RESTING, RunState.SIEVING):
        _watch_load(run, reading.at_ns, load_g, dp_pa)


def _watch_load(run: Run, at_ns: int, load_g: float, dp_pa: float | None) -> None:
    """A load that no sieving explains: a tare key or a spill end the run, a knock is a deviation."""
    watch, t_s = run.load_watch, at_ns / 1e9
    found = watch.impossible(t_s, load_g)
    if run.state is not RunState.SIEVING or not run.pressure.in_band(dp_pa):
        watch.forget()
    elif found is None:
        found = watch.step(t_s, load_g)
    if found is None:
        return
    step = f"{found.step_g:+.{run.plan.bench.balance.decimals}f} g"
    if found.kind == "impossible":
        reason = (
            f"the balance was tared or zeroed under load, or something leans on it: the load reads {step}"
        )
        run.emit(E.INVALIDATED, at_ns, reason=reason)
    elif found.kind == "loss":
        reason = f"mass was lost at once, not through the sieve: the load jumped by {step}"
        run.emit(E.INVALIDATED, at_ns, reason=reason)
    else:
        run.deviation(at_ns, "load-step", f"The load jumped by {step}: the unit was knocked or touched.")


def step(run: Run, now_ns: int) -> None:
    """One look at a live run: rest over, rest handed on at suction start, stop by the rule."""
    if run.live is None:
        return
    if run.state is RunState.RESTING and run.since_s(now_ns) >= run.plan.method.weighing.rest_s:
        run.emit(E.DRAW_DOWN_BEGUN, now_ns, interval_target_s=None)
    hand_on_rest(run)
    if run.state is RunState.SIEVING:
        _judge(run, now_ns)


def hand_on_rest(run: Run) -> None:
    """Once the suction was seen on, give the estimator the rest before it, t = 0 at suction on."""
    start_ns = run.facts.suction_start_ns
    if start_ns is None or run.live is None:
        return
    rest, run.rest = run.rest, []
    for at_ns, load_g, dp_pa, stable in rest:
        run.live.add((at_ns - start_ns) / 1e9, load_g, dp_pa, stable, True)


def _judge(run: Run, now_ns: int) -> None:
    endpoint = run.plan.method.endpoint
    if endpoint.rule == "fixed-time":
        if run.pressure.effective_s >= (endpoint.time_s or 0.0):
            reason = f"{endpoint.time_s:g} s of effective time are over"
            run.emit(E.ENDPOINT_REACHED, now_ns, elapsed_s=run.facts.elapsed_s(now_ns), reason=reason)
        return
    if run.live is None or not run.live.stopped or run.pressure.effective_s < endpoint.min_time_s:
        return
    state = run.live.state()
    run.emit(
        E.DECIDED,
        now_ns,
        stop=True,
        rule=endpoint.rule,
        value=state.rate_pct_per_min,
        value_u=state.rate_u_pct_per_min,
        limit=endpoint.limit_pct_per_min,
        unit="%/min",
        live_load_g=state.load_g,
        text=state.text,
    )
    run.emit(E.ENDPOINT_REACHED, now_ns, elapsed_s=run.facts.elapsed_s(now_ns), reason=state.text)
