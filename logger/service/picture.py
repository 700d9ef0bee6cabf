"""The snapshot: everything a watcher is shown, made from the service's state."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from logger.core.broker_alarms import broker_alarms
from logger.core.method import Endpoint, Method
from logger.core.readings import Channel
from logger.core.run.cautions import CAUTIONS
from logger.core.run.instruct import IDLE, LID_CLOSED, LID_UNKNOWN, instruction
from logger.core.run.view import alarm_views, pressure_view, run_view
from logger.core.snapshot import (
    AlarmView,
    Instruction,
    LinkState,
    LinkView,
    MethodView,
    NextRunView,
    PressureView,
    Snapshot,
)
from logger.core.text import printable
from logger.service.bench_service import BenchService

AFTER_RUN = "The run is over: look at the rig before you open the lid."
INTERRUPTED = "The service ended in mid-run; the run is kept as interrupted. The suction may be on, the sieve on the rig."
_STATES: dict[str, LinkState] = {
    "up": "up",
    "silent": "silent",
    "lost": "lost",
    "absent": "absent",
    "wrong-instrument": "wrong-instrument",
}


def snapshot(service: BenchService, you: str = "") -> Snapshot:
    """The picture of this moment. `you` is the watcher's client id."""
    setup, engine, now_ns = service.setup, service.engine, service.clock.now_ns()
    return Snapshot(
        software=setup.software,
        site=setup.plan.site,
        bench=setup.plan.bench,
        arrangement=setup.plan.arrangement,
        speed=setup.speed,
        simulated=setup.simulated,
        utc=service.clock.utc(),
        state=_state(service),
        instruction=_instruction(service, now_ns),
        can=service.can(),
        alarms=_alarms(service),
        links=_links(service, now_ns),
        mass=service.idle.mass(now_ns),
        pressure=_pressure(service, now_ns),
        run=None if engine is None else run_view(engine, service.run_id, now_ns),
        events=tuple(service.events),
        broker=service.plant.view(),
        methods=tuple(_method(method) for method in setup.methods.values()),
        cautions=_cautions(service),
        controls_held_by=service.controls_held_by,
        you_hold_controls=bool(you) and service.controls_held_by == you,
        next_run=_following(service),
        revised=0 if service.office is None else service.office.reviews.revised,
    )


def _following(service: BenchService) -> NextRunView | None:
    """What the sample still needs: after a run on this bench, or after the newest one before the service started."""
    if service.next_run is not None or service.engine is not None or service.jobs is None:
        return service.next_run
    return service.jobs.left


def _state(service: BenchService) -> str:
    return "idle" if service.engine is None else service.engine.state.value


def _pressure(service: BenchService, now_ns: int) -> PressureView:
    """A run that is over reads nothing more: its last figure would be shown as that of a silent instrument."""
    engine, now = service.engine, service.idle.pressure(now_ns)
    if engine is None:
        return now
    if not engine.ended:
        return pressure_view(engine.run, now_ns)
    if now.dp_pa is None:
        return replace(now, lid=LID_UNKNOWN)
    closed = abs(now.dp_pa) >= service.setup.plan.alarms.lid_open_pa
    return replace(now, lid=LID_CLOSED if closed else AFTER_RUN)


def _instruction(service: BenchService, now_ns: int) -> Instruction:
    """The run's own; at its end and on a free bench with what the sample still needs."""
    engine, following = service.engine, _following(service)
    if engine is None:
        return _free(service, following)
    found = instruction(engine, now_ns)
    if following is None or not engine.ended:
        return found
    return replace(found, detail=f"{found.detail} {following.text}")


def _free(service: BenchService, following: NextRunView | None) -> Instruction:
    """The next run of the sample or a new one, and before it what the start of a shift asks for."""
    text, detail = IDLE.text, IDLE.detail
    if following is not None:
        detail = f"Sample {printable(following.sample_id)}."
        text, detail = (
            (text, f"{detail} {following.text}") if following.complete else (following.text, detail)
        )
    count = 0 if service.jobs is None else service.jobs.due_now
    if count:
        tasks = (
            "1 task of the start of shift is" if count == 1 else f"{count} tasks of the start of shift are"
        )
        detail = f"{detail} {tasks} due (keys g, s)."
    return replace(IDLE, text=text, detail=detail)


def live_values(service: BenchService) -> dict[str, Any]:
    """The few values that the plant sees once a second."""
    engine, now_ns = service.engine, service.clock.now_ns()
    mass, pressure = service.idle.mass(now_ns), _pressure(service, now_ns)
    values: dict[str, Any] = {
        "utc": service.clock.utc(),
        "state": _state(service),
        "mass_g": mass.value_g,
        "mass_quality": mass.quality,
        "stable": mass.stable,
        "dp_pa": pressure.dp_pa,
        "dp_quality": pressure.quality,
    }
    if engine is None:
        return values
    run = run_view(engine, service.run_id, now_ns)
    return values | {
        "run_id": run.run_id,
        "elapsed_s": run.elapsed_s,
        "effective_s": run.effective_s,
        "load_g": run.load_g,
        "load_pct": run.load_pct,
        "rate_pct_per_min": run.rate.rate_pct_per_min,
        "rate_u_pct_per_min": run.rate.rate_u_pct_per_min,
        "limit_pct_per_min": run.rate.limit_pct_per_min,
        "forecast_s": run.rate.forecast_s,
    }


def _alarms(service: BenchService) -> tuple[AlarmView, ...]:
    own: tuple[AlarmView, ...] = (
        () if not service.trouble else (AlarmView(key="store", level="alarm", text=service.trouble),)
    )
    own = (*own, *broker_alarms(service.plant.view()))
    own = (*own, *(() if service.permit is None else service.permit.alarms()))
    own = (*own, *_around(service))
    engine = service.engine
    return own if engine is None or engine.ended else own + alarm_views(engine.run)


def _around(service: BenchService) -> tuple[AlarmView, ...]:
    """Warnings about the computer, the files and the parts beside the run."""
    found = [
        AlarmView(key=f"part-{name}", level="warning", text=text)
        for name, text in service.failed_parts.items()
    ]
    if service.interrupted_runs and service.engine is None:
        found.append(AlarmView(key="interrupted-run", level="warning", text=INTERRUPTED))
    if service.clock_unset():
        text = f"Clock unsynchronised: the computer shows {service.clock.utc()[:10]}. Set it before a run."
        found.append(AlarmView(key="clock", level="warning", text=text))
    for method_id in sorted(service.changed_methods):
        text = f"The file of method {method_id} has changed: start the service again to use it."
        found.append(AlarmView(key=f"method-file-{method_id}", level="warning", text=text))
    return tuple(found)


def _links(service: BenchService, now_ns: int) -> tuple[LinkView, ...]:
    instruments = tuple(_link(service, channel, now_ns) for channel in Channel)
    return instruments if service.permit is None else (*instruments, service.permit.view())


def _link(service: BenchService, channel: Channel, now_ns: int) -> LinkView:
    state, text = service.links.get(channel)
    age_s = service.idle.age_s(channel, now_ns)
    return LinkView(
        channel="mass" if channel is Channel.MASS else "pressure",
        port=service.links.port(channel),
        profile=service.links.profile(channel),
        state=_STATES[state],
        age_s=None if age_s is None else age_s / service.setup.speed,
        text=text,
    )


def _until(endpoint: Endpoint) -> str:
    """What ends a run by this method."""
    if endpoint.rule == "loss-rate":
        return f"loss rate {endpoint.limit_pct_per_min or 0:g} %/min"
    if endpoint.rule == "fixed-time":
        return f"fixed time {endpoint.time_s or 0:g} s"
    parts = ((endpoint.change_pct, "%"), (endpoint.change_g, "g"))
    limits = [f"{limit:g} {unit}" for limit, unit in parts if limit is not None]
    return f"change {(' and ' if endpoint.combine == 'both' else ' or ').join(limits)}"


def _method(method: Method) -> MethodView:
    apertures = ", ".join(f"{value:g}" for value in method.sieve.all_um)
    summary = f"{method.charge.mass_g:g} g on {apertures} µm, {method.suction.dp_pa:g} Pa, {_until(method.endpoint)}"
    return MethodView(
        id=method.method.id,
        title=method.method.title,
        revision=method.method.revision,
        summary=summary,
        apertures_um=method.sieve.all_um,
        frame_mm=method.sieve.frame_mm,
    )


def _cautions(service: BenchService) -> tuple[str, ...]:
    if service.engine is None:
        return CAUTIONS
    return CAUTIONS + service.engine.run.plan.method.precautions.lines
