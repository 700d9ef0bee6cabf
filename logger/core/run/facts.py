"""What is known of a run, folded from its events alone, so that a killed run reads the same after a restart."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

from logger.core.run.events import Event, EventKind
from logger.core.run.states import RunState, after


@dataclass(slots=True)
class Weighed:
    """One accepted weighing of sieve and load. `gross_g` as shown, `load_g` with the tare taken off."""

    effective_s: float
    gross_g: float
    load_g: float
    typed: bool
    at_ns: int


@dataclass(slots=True)
class RunFacts:
    """The fold. Masses g, times s; `*_ns` on the bench clock. Only `apply` changes it."""

    plan: dict[str, Any] = field(default_factory=dict)
    state: RunState = RunState.PLANNED
    events: int = 0
    started_utc: str = ""
    ended_utc: str = ""
    cautions_by: str = ""
    tare_g: float | None = None
    tare_typed: bool = False
    platform_before_g: float | None = None
    platform_after_g: float | None = None
    sieve_read_g: float | None = None
    charge_gross_g: float | None = None
    weighings: list[Weighed] = field(default_factory=list)
    suction_start_ns: int | None = None
    segment: int = 0
    interval_target_s: float | None = None
    outcome: Literal["", "endpoint", "time-limit", "stopped"] = ""
    """endpoint, time-limit, stopped; empty while open; abort, invalid and interrupt are states."""
    decision: dict[str, Any] = field(default_factory=dict)
    decided_on: int = 0
    """How many weighings the newest decision was made on, the charge among them."""
    decision_s: float | None = None
    suction_off_s: float | None = None
    out_of_band_s: float | None = None
    unread_s: float | None = None
    mass_digit_g: float | None = None
    dp_digit_pa: float | None = None
    jet_due_off_s: float | None = None
    held_since_ns: int | None = None
    held_reason: str = ""
    ended_reason: str = ""
    deviations: list[dict[str, Any]] = field(default_factory=list)
    care: list[dict[str, Any]] = field(default_factory=list)
    result: dict[str, Any] = field(default_factory=dict)

    @property
    def charge_g(self) -> float | None:
        """Net mass of the test portion, once weighed."""
        return self.weighings[0].load_g if self.weighings else None

    def elapsed_s(self, now_ns: int) -> float | None:
        """Bench seconds since the suction was first seen on; None before."""
        return None if self.suction_start_ns is None else (now_ns - self.suction_start_ns) / 1e9

    def apply(self, event: Event) -> None:
        """Take one more event. Raises ValueError for one that cannot follow."""
        self.state = after(self.state, event.kind)
        self.events += 1
        self.ended_utc = event.utc
        step = _STEPS.get(event.kind)
        if step is not None:
            step(self, event)


def fold(events: Iterable[Event]) -> RunFacts:
    """The facts after all these events, which begin with run_planned."""
    facts = RunFacts()
    for event in events:
        facts.apply(event)
    return facts


def _planned(facts: RunFacts, event: Event) -> None:
    facts.plan, facts.started_utc = event.data, event.utc


def _cautions(facts: RunFacts, event: Event) -> None:
    facts.cautions_by = event.data["name"]


def _checked(facts: RunFacts, event: Event) -> None:
    facts.mass_digit_g, facts.dp_digit_pa = event.data.get("mass_digit_g"), event.data.get("dp_digit_pa")


def _beside_band(facts: RunFacts, event: Event) -> None:
    """Runs of a version that did not count these times have none."""
    facts.out_of_band_s = event.data.get("out_of_band_s", facts.out_of_band_s)
    facts.unread_s = event.data.get("unread_s", facts.unread_s)


def _tare(facts: RunFacts, event: Event) -> None:
    facts.tare_g, facts.tare_typed = event.data["gross_g"], bool(event.data.get("typed"))


def _platform(facts: RunFacts, event: Event) -> None:
    if event.data["when"] == "before":
        facts.platform_before_g = event.data["gross_g"]
    else:
        facts.platform_after_g = event.data["gross_g"]


def _sieve_read(facts: RunFacts, event: Event) -> None:
    facts.sieve_read_g = event.data["gross_g"]


def _weighing(facts: RunFacts, event: Event) -> None:
    data = event.data
    if event.kind is EventKind.CHARGE_WEIGHED:
        facts.charge_gross_g = data["gross_g"]
    _beside_band(facts, event)
    facts.weighings.append(
        Weighed(data["effective_s"], data["gross_g"], data["load_g"], bool(data.get("typed")), event.at_ns)
    )


def _draw_down(facts: RunFacts, event: Event) -> None:
    facts.segment += 1
    facts.interval_target_s = event.data["interval_target_s"]
    facts.jet_due_off_s = None


def _suction_on(facts: RunFacts, event: Event) -> None:
    if facts.suction_start_ns is None:
        facts.suction_start_ns = event.at_ns


def _jet_over(facts: RunFacts, event: Event) -> None:
    facts.jet_due_off_s = facts.elapsed_s(event.at_ns)


def _suction_off(facts: RunFacts, event: Event) -> None:
    facts.suction_off_s = event.data["elapsed_s"]
    _beside_band(facts, event)


def _decided(facts: RunFacts, event: Event) -> None:
    facts.decision = event.data
    facts.decided_on = len(facts.weighings)


def _outcome(outcome: Literal["endpoint", "time-limit", "stopped"]) -> Callable[[RunFacts, Event], None]:
    def step(facts: RunFacts, event: Event) -> None:
        if not facts.outcome:
            facts.outcome = outcome
            facts.decision_s = facts.elapsed_s(event.at_ns)
            facts.ended_reason = event.data["reason"]
        facts.held_since_ns = None
        if facts.jet_due_off_s is None:
            facts.jet_due_off_s = facts.elapsed_s(event.at_ns)

    return step


def _held(facts: RunFacts, event: Event) -> None:
    facts.held_since_ns, facts.held_reason = event.at_ns, event.data["reason"]


def _resumed(facts: RunFacts, event: Event) -> None:
    facts.held_since_ns, facts.held_reason = None, ""
    facts.segment += 1


def _deviation(facts: RunFacts, event: Event) -> None:
    facts.deviations.append(event.data)


def _cared(facts: RunFacts, event: Event) -> None:
    facts.care.append({**event.data, "utc": event.utc})


def _result(facts: RunFacts, event: Event) -> None:
    facts.result = event.data


def _ended(facts: RunFacts, event: Event) -> None:
    facts.ended_reason = event.data["reason"]


def _corrected(facts: RunFacts, event: Event) -> None:
    """What was corrected after the end takes the place of what was entered; both stay in the journal."""
    sample = dict(facts.plan["sample"])
    for change in event.data["changes"]:
        part, _, name = change["what"].partition(".")
        if part == "sample":
            sample[name] = change["after"]
        elif part == "tare_g":
            facts.tare_g = change["after"]
        elif part == "weighings":
            facts.weighings[int(name.partition(".")[0])].gross_g = change["after"]
    facts.plan = {**facts.plan, "sample": sample}
    if facts.weighings and any(change["what"].endswith("_g") for change in event.data["changes"]):
        _weigh_again(facts)


def _weigh_again(facts: RunFacts) -> None:
    for weighed in facts.weighings:
        weighed.load_g = round(weighed.gross_g - (facts.tare_g or 0.0), 6)
    facts.charge_gross_g = facts.weighings[0].gross_g


_STEPS: dict[EventKind, Callable[[RunFacts, Event], None]] = {
    EventKind.RUN_PLANNED: _planned,
    EventKind.CAUTIONS_ACKNOWLEDGED: _cautions,
    EventKind.CHECKS_PASSED: _checked,
    EventKind.PLATFORM_WEIGHED: _platform,
    EventKind.SIEVE_READ: _sieve_read,
    EventKind.TARE_WEIGHED: _tare,
    EventKind.CHARGE_WEIGHED: _weighing,
    EventKind.LOAD_WEIGHED: _weighing,
    EventKind.DRAW_DOWN_BEGUN: _draw_down,
    EventKind.SUCTION_SEEN_ON: _suction_on,
    EventKind.INTERVAL_OVER: _jet_over,
    EventKind.SUCTION_SEEN_OFF: _suction_off,
    EventKind.DECIDED: _decided,
    EventKind.ENDPOINT_REACHED: _outcome("endpoint"),
    EventKind.TIME_LIMIT_REACHED: _outcome("time-limit"),
    EventKind.STOPPED: _outcome("stopped"),
    EventKind.HELD: _held,
    EventKind.RESUMED: _resumed,
    EventKind.DEVIATION: _deviation,
    EventKind.SIEVE_CARED: _cared,
    EventKind.RESULT_COMPUTED: _result,
    EventKind.CORRECTED: _corrected,
    EventKind.ABORTED: _ended,
    EventKind.INVALIDATED: _ended,
    EventKind.INTERRUPTED: _ended,
}
