"""The run engine: the only way to move a run. Readings, commands and ticks in; events out.

Every entry takes its time as an argument and looks at the run until nothing more follows. Feeding the
same inputs again gives the same events.
"""

from __future__ import annotations

from collections.abc import Callable

from logger.core.readings import Channel, Quality, Reading
from logger.core.run import alarms, jet, live_steps, weigh
from logger.core.run.commands import Command, Refused, Reply
from logger.core.run.events import Event
from logger.core.run.events import EventKind as E
from logger.core.run.handlers import HANDLERS, can
from logger.core.run.live import LiveRate, no_live_rate
from logger.core.run.plan import RunPlan
from logger.core.run.run import Run
from logger.core.run.states import ENDED, JET, RunState
from logger.core.run.zero_watch import watch_zero

WATCH_S = 2.0
"""The pressure at rest is watched this long before the run begins; a fan that spins up shows by then."""
_STEPS_AT_ONCE = 8
"""More moves than this from one input would be a loop in the table."""


class RunEngine:
    """Moves one run. Create it with the plan; `take_events` hands out what is to be journalled."""

    def __init__(
        self,
        plan: RunPlan,
        now_ns: int,
        utc: Callable[[], str],
        live_rate: Callable[[RunPlan, float], LiveRate] = no_live_rate,
    ) -> None:
        """Plans the run at `now_ns`; nothing has moved yet."""
        self.run = Run(plan, utc, live_rate)
        self.run.emit(E.RUN_PLANNED, now_ns, **plan.data())
        self._last_ns = now_ns

    @property
    def state(self) -> RunState:
        """Where the run stands."""
        return self.run.state

    @property
    def ended(self) -> bool:
        """Whether only a review can follow."""
        return self.run.state in ENDED

    def take_events(self) -> list[Event]:
        """Events since the last call."""
        return self.run.take_events()

    def can(self) -> tuple[str, ...]:
        """Commands that make sense now."""
        return tuple(do.value for do in can(self.run))

    def on_reading(self, reading: Reading) -> None:
        """One reading of either instrument."""
        run = self.run
        if self.ended:
            return
        jet.note_jet_while_held(run, max(0, reading.at_ns - self._last_ns) / 1e9)
        self._last_ns = max(self._last_ns, reading.at_ns)
        run.pressure.counting = run.state in JET or run.state is RunState.RELEASING
        run.pressure.judging = run.state is RunState.SIEVING
        run.track(reading)
        self._check_units(reading)
        live_steps.on_reading(run, reading)
        self._advance(reading.at_ns)

    def tick(self, now_ns: int) -> None:
        """Time passed without a reading; call it ten times a second."""
        if not self.ended:
            self._advance(max(now_ns, self._last_ns))

    def command(self, command: Command, now_ns: int) -> Reply:
        """A person asked for something. A refusal is an answer; it never raises."""
        if command.do not in can(self.run):
            state = self.run.state.value.replace("_", " ")
            return Reply(False, f"Not possible now: the run is {state}.")
        try:
            text = HANDLERS[command.do](self.run, command, now_ns)
        except Refused as refusal:
            return Reply(False, str(refusal))
        self._advance(now_ns)
        return Reply(True, text)

    def on_link(self, channel: Channel, state: str, text: str, now_ns: int) -> None:
        """An instrument's link changed; `text` is a sentence for the operator."""
        if self.ended or self.run.links[channel] == state:
            return
        self.run.links[channel] = state
        if state != "up" and channel is Channel.MASS:
            self.run.mass.link_lost()
        elif state != "up":
            self.run.pressure.link_lost(now_ns)
        self.run.emit(E.LINK_CHANGED, now_ns, channel=channel.value, state=state, text=text)
        self._advance(now_ns)

    def invalidate(self, reason: str, now_ns: int) -> None:
        """Something outside the run made it worthless (host suspended)."""
        if not self.ended:
            self.run.emit(E.INVALIDATED, now_ns, reason=reason)

    def interrupt(self, reason: str, now_ns: int) -> None:
        """The service ends while the run is open."""
        if not self.ended:
            self.run.emit(E.INTERRUPTED, now_ns, reason=reason)

    def note_permit(self, granted: bool, reason: str, now_ns: int) -> None:
        """The permit of the suction was granted or withdrawn; `reason` is half a sentence."""
        if not self.ended:
            self.run.emit(E.PERMIT_CHANGED, now_ns, granted=granted, reason=reason)

    def note_deviation(self, key: str, text: str, now_ns: int) -> None:
        """Something outside the run that its record must say."""
        if not self.ended:
            self.run.deviation(now_ns, key, text)

    def clock_stepped(self, step_s: float, now_ns: int) -> None:
        """Wall time moved against the bench clock; durations are untouched."""
        if not self.ended:
            self.run.emit(E.CLOCK_STEPPED, now_ns, step_s=round(step_s, 3))

    def _check_units(self, reading: Reading) -> None:
        run = self.run
        if reading.quality is Quality.WRONG_UNIT and run.facts.tare_g is not None and not self.ended:
            what = "balance" if reading.channel is Channel.MASS else "pressure transducer"
            reason = f"the {what} changed its unit: {reading.raw!r}"
            run.emit(E.INVALIDATED, reading.at_ns, reason=reason)

    def _advance(self, now_ns: int) -> None:
        for _ in range(_STEPS_AT_ONCE):
            before = self.run.state
            self._step(now_ns)
            if self.run.state is before or self.ended:
                break
        if not self.ended:
            alarms.update(self.run, now_ns)

    def _step(self, now_ns: int) -> None:
        run = self.run
        if run.state is RunState.CHECKING:
            _check(run, now_ns)
        elif run.state is RunState.COMPUTING:
            weigh.compute(run, now_ns)
        else:
            live_steps.step(run, now_ns)
            jet.step_jet(run, now_ns)
        if not self.ended:
            watch_zero(run, now_ns)


def why_not_ready(run: Run, now_ns: int) -> str:
    """Why the instruments do not let the run begin; empty when they do."""
    if not run.mass.fresh(now_ns):
        return "The balance gives no valid reading."
    if not run.pressure.fresh(now_ns):
        mark = alarms.MARK_WORDS.get(run.dp_quality, "")
        return f"The pressure transducer gives no valid reading{mark}."
    below = _mass_below_zero(run)
    if below:
        return below
    dp_pa = run.pressure.dp_pa or 0.0
    limit_pa = run.plan.bench.alarms.lid_open_pa
    if dp_pa < -limit_pa:
        return f"The pressure is {dp_pa:.0f} Pa, below zero: the two hoses may be swapped."
    if dp_pa > limit_pa:
        return f"The pressure is {dp_pa:.0f} Pa: switch the suction off by hand."
    if run.since_s(now_ns) < WATCH_S:
        return "Balance and pressure at rest are watched for a moment."
    return ""


def _mass_below_zero(run: Run) -> str:
    last, digits = run.mass.last, run.plan.bench.balance.decimals
    if last is None or last.value is None or last.value >= -run.plan.bench.zero_tolerance_g:
        return ""
    return f"The balance shows {last.value:.{digits}f} g, below zero: clear the pan and zero it."


def _check(run: Run, now_ns: int) -> None:
    if not why_not_ready(run, now_ns):
        zero_dp_pa = round(run.pressure.dp_pa or 0.0, 1)
        digits = {
            "mass_digit_g": run.lines[Channel.MASS].digit,
            "dp_digit_pa": run.lines[Channel.PRESSURE].digit,
        }
        run.emit(E.CHECKS_PASSED, now_ns, zero_dp_pa=zero_dp_pa, **digits)
        _note_equipment(run, now_ns, zero_dp_pa)


def _note_equipment(run: Run, now_ns: int, zero_dp_pa: float) -> None:
    """Deviations that were known before the run, and the transducer's zero as it is now."""
    for key, text in run.plan.notes:
        run.deviation(now_ns, key, text)
    limit_pa = run.plan.bench.checks.pressure_zero_tolerance_pa
    if limit_pa is not None and abs(zero_dp_pa) > limit_pa:
        text = f"The pressure at rest is {zero_dp_pa:g} Pa, {limit_pa:g} Pa are allowed: zero the transducer."
        run.deviation(now_ns, "pressure-zero", text)
