"""The steps that follow the pressure: draw-down, sieving, hold, release, and the limits of time."""

from __future__ import annotations

from logger.core.run.events import EventKind as E
from logger.core.run.pressure import SUCTION_SEEN_SHARE
from logger.core.run.run import Run
from logger.core.run.states import JET, RunState

LEFT_BAND_S = 2.0
"""Outside the band for this long before it is said, so that ripple at the edge does not flood the log."""
LATE_OFF_S = 15.0
"""More between the end of an interval (or the decision) and suction off is a deviation."""
FROZEN_HOLD_FACTOR = 2.0
"""The very same pressure for so many times the warning's span, and the run is held: nobody knows the jet."""
HELD_JET_S = 5.0
"""A jet that ran this long while the run was held did sieve: a deviation."""


def step_jet(run: Run, now_ns: int) -> None:
    """One look at the run in states drawing_down, sieving, held and releasing."""
    if run.state is RunState.DRAWING_DOWN:
        _draw_down(run, now_ns)
    elif run.state is RunState.SIEVING:
        _sieve(run, now_ns)
    elif run.state is RunState.RELEASING:
        _release(run, now_ns)
    if run.state in JET or run.state is RunState.HELD:
        _time_limits(run, now_ns)


def _draw_down(run: Run, now_ns: int) -> None:
    pressure = run.pressure
    if pressure.suction_on() and pressure.fresh(now_ns) and run.suction_seen_segment != run.facts.segment:
        run.suction_seen_segment = run.facts.segment
        run.suction_seen_ns = pressure.at_ns or now_ns
        run.emit(E.SUCTION_SEEN_ON, pressure.at_ns or now_ns, segment=run.facts.segment)
    settled = pressure.band_held_s(now_ns) >= run.plan.method.suction.settle_s
    if settled and pressure.fresh(now_ns) and run.suction_seen_segment == run.facts.segment:
        run.outside_band = False
        run.emit(E.BAND_REACHED, now_ns, dp_pa=_whole(pressure.dp_pa))


def _sieve(run: Run, now_ns: int) -> None:
    _band_events(run, now_ns)
    if _lost_s(run, now_ns) > run.plan.bench.alarms.dp_low_grace_s:
        run.emit(E.HELD, now_ns, by="lastgrain", reason=_lost_words(run, now_ns))
        return
    if run.pressure.frozen(now_ns, FROZEN_HOLD_FACTOR):
        run.emit(E.HELD, now_ns, by="lastgrain", reason="the pressure reading is frozen")
        return
    if run.live_mode and run.mass.silent_s(now_ns) > run.plan.bench.alarms.dp_low_grace_s:
        run.emit(E.HELD, now_ns, by="lastgrain", reason="no reading from the balance")
        return
    target_s = run.facts.interval_target_s
    done_s = run.interval_done_s()
    if target_s is not None and done_s >= target_s:
        run.emit(E.INTERVAL_OVER, now_ns, interval_s=target_s, effective_s=round(run.pressure.effective_s, 3))


def _band_events(run: Run, now_ns: int) -> None:
    outside_s = run.pressure.outside_s(now_ns)
    if not run.outside_band and outside_s > LEFT_BAND_S:
        run.outside_band = True
        run.emit(E.BAND_LEFT, now_ns, dp_pa=_whole(run.pressure.dp_pa))
    elif run.outside_band and run.pressure.band_held_s(now_ns) > LEFT_BAND_S:
        run.outside_band = False
        run.emit(E.BAND_REGAINED, now_ns, dp_pa=_whole(run.pressure.dp_pa))


def _lost_s(run: Run, now_ns: int) -> float:
    """For how long there has been no jet worth the name: no fresh reading, or under half of nominal."""
    pressure = run.pressure
    low = (pressure.dp_pa or 0.0) < SUCTION_SEEN_SHARE * pressure.suction.dp_pa
    return pressure.outside_s(now_ns) if low or not pressure.fresh(now_ns) else 0.0


def _lost_words(run: Run, now_ns: int) -> str:
    grace = f"{run.plan.bench.alarms.dp_low_grace_s:g} s"
    if not run.pressure.fresh(now_ns):
        return f"no pressure reading for {grace}"
    return f"pressure lost for {grace}"


def _release(run: Run, now_ns: int) -> None:
    pressure, facts = run.pressure, run.facts
    low = pressure.dp_pa is not None and pressure.dp_pa < SUCTION_SEEN_SHARE * pressure.suction.dp_pa
    if low and pressure.fresh(now_ns) and run.suction_off_seen_segment != facts.segment:
        run.suction_off_seen_segment = facts.segment
        _suction_off(run, pressure.at_ns or now_ns)
    if pressure.lid_may_open(now_ns):
        run.emit(E.PRESSURE_RELEASED, now_ns, how="measured")


def _suction_off(run: Run, at_ns: int) -> None:
    elapsed_s = run.facts.elapsed_s(at_ns) or 0.0
    run.emit(
        E.SUCTION_SEEN_OFF,
        at_ns,
        elapsed_s=round(elapsed_s, 3),
        effective_s=round(run.pressure.effective_s, 3),
        **beside_band(run),
    )
    late_s = elapsed_s - (run.facts.jet_due_off_s or elapsed_s)
    if late_s > LATE_OFF_S:
        run.deviation(
            at_ns, "suction-off-late", f"Suction was switched off {late_s:.0f} s after it was asked for."
        )


def beside_band(run: Run) -> dict[str, float]:
    """Time sieved so far that counts as no effective time, s: out of the band, and with no pressure read."""
    pressure = run.pressure
    return {"out_of_band_s": round(pressure.out_of_band_s, 3), "unread_s": round(pressure.unread_s, 3)}


def _time_limits(run: Run, now_ns: int) -> None:
    endpoint = run.plan.method.endpoint
    elapsed_s = run.facts.elapsed_s(now_ns)
    if run.state is RunState.HELD and run.since_s(now_ns) > endpoint.hold_max_s:
        reason = f"held longer than {endpoint.hold_max_s:g} s ({run.facts.held_reason})"
        run.emit(E.INVALIDATED, now_ns, reason=reason)
    elif elapsed_s is not None and elapsed_s >= endpoint.max_time_s:
        run.emit(
            E.TIME_LIMIT_REACHED,
            now_ns,
            elapsed_s=round(elapsed_s, 3),
            reason=f"the time limit of {endpoint.max_time_s:g} s was reached before the endpoint",
        )


def note_jet_while_held(run: Run, dt_s: float) -> None:
    """Add up the jet's time in a hold: sieving is physical, whatever the clock of the method says."""
    if run.state is RunState.HELD and run.pressure.suction_on():
        run.jet_while_held_s += dt_s


def close_hold(run: Run, now_ns: int) -> None:
    """At resume or stop: say what the jet did meanwhile."""
    if run.jet_while_held_s > HELD_JET_S:
        run.deviation(
            now_ns, "jet-while-held", f"The jet ran for {run.jet_while_held_s:.0f} s while the run was held."
        )
    run.jet_while_held_s = 0.0


def _whole(dp_pa: float | None) -> int | None:
    return None if dp_pa is None else round(dp_pa)
