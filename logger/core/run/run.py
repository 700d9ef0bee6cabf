"""One run on the bench: the meeting point of plan, facts, trackers and new events.

`Run` holds what the steps (jet.py, weigh.py, commands) work on; they decide, it remembers. Everything
that lasts goes through `emit`, so the events alone tell the run again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from logger.core.readings import Channel, Quality, Reading
from logger.core.run.events import Event, EventKind
from logger.core.run.facts import RunFacts
from logger.core.run.lines import LineWatch
from logger.core.run.live import LiveRate, no_live_rate
from logger.core.run.load_watch import LoadWatch
from logger.core.run.mass import MassTracker
from logger.core.run.plan import RunPlan
from logger.core.run.pressure import PressureTracker
from logger.core.run.states import RunState


class Run:
    """Facts and trackers of one run. Not thread-safe; one owner feeds it in order of arrival."""

    def __init__(
        self,
        plan: RunPlan,
        utc: Callable[[], str],
        live_rate: Callable[[RunPlan, float], LiveRate] = no_live_rate,
    ) -> None:
        """`utc` gives the wall time for an event; `live_rate` makes the estimator once the charge is known."""
        self.plan = plan
        self.facts = RunFacts()
        self.mass = MassTracker(plan.bench.balance.readability_g, plan.bench.link_gap_s)
        self.pressure = PressureTracker(
            plan.method.suction, plan.bench.alarms.lid_open_pa, plan.bench.link_gap_s
        )
        gap_s = plan.bench.link_gap_s
        self.lines = {
            Channel.MASS: LineWatch("balance", "balance", "g", gap_s, plan.bench.mass_period_s),
            Channel.PRESSURE: LineWatch("pressure transducer", "dp", "Pa", gap_s, plan.bench.dp_period_s),
        }
        self.load_watch = LoadWatch(plan.charge_target_g, plan.bench.zero_tolerance_g)
        self.live: LiveRate | None = None
        self.make_live_rate = live_rate
        self.rest: list[tuple[int, float | None, float | None, bool | None]] = []
        self.alarms: dict[str, tuple[str, str]] = {}
        self.links = {Channel.MASS: "up", Channel.PRESSURE: "up"}
        self.state_since_ns = 0
        self.zero_g: float | None = None
        self.free_pan_g: float | None = None
        """What the balance showed while the sieve was on the rig, since the last weighing."""
        self.jet_while_held_s = 0.0
        self.outside_band = False
        self.dp_quality = Quality.OK
        """Of the newest line of the transducer, good or not."""
        self.suction_seen_segment = 0
        self.suction_seen_ns = 0
        self.suction_off_seen_segment = 0
        self._utc = utc
        self._new: list[Event] = []

    @property
    def state(self) -> RunState:
        """Where the run stands."""
        return self.facts.state

    @property
    def live_mode(self) -> bool:
        """Whether mass is read while the jet runs."""
        return self.plan.method.weighing.mode == "live"

    def emit(self, kind: EventKind, at_ns: int, **data: Any) -> None:
        """Add an event and apply it at once."""
        event = Event(kind, at_ns, self._utc(), data)
        before = self.facts.state
        self.facts.apply(event)
        if self.facts.state is not before:
            self.state_since_ns = at_ns
        self._new.append(event)

    def take_events(self) -> list[Event]:
        """Events since the last call; the caller journals them."""
        new, self._new = self._new, []
        return new

    def since_s(self, now_ns: int) -> float:
        """How long the run has been in its state."""
        return (now_ns - self.state_since_ns) / 1e9

    def interval_done_s(self) -> float:
        """Effective seconds sieved since the last weighing."""
        last = self.facts.weighings[-1].effective_s if self.facts.weighings else 0.0
        return self.pressure.effective_s - last

    def deviation(self, at_ns: int, key: str, text: str) -> None:
        """Note once per key and text that the run departed from its method."""
        if not any(entry["key"] == key and entry["text"] == text for entry in self.facts.deviations):
            self.emit(EventKind.DEVIATION, at_ns, key=key, text=text)

    def set_alarm(self, at_ns: int, key: str, active: bool, level: str, text: str) -> None:
        """Raise or clear one alarm; only a change is an event."""
        if active and key not in self.alarms:
            self.alarms[key] = (level, text)
            self.emit(EventKind.ALARM_RAISED, at_ns, key=key, level=level, text=text)
        elif active:
            self.alarms[key] = (level, text)
        elif key in self.alarms:
            del self.alarms[key]
            self.emit(EventKind.ALARM_CLEARED, at_ns, key=key)

    def track(self, reading: Reading) -> None:
        """Take a reading into the trackers; what is odd about its line is a deviation."""
        for key, text in self.lines[reading.channel].add(reading):
            self.deviation(reading.at_ns, key, text)
        if reading.channel is Channel.MASS:
            self.mass.add(reading)
            return
        self.dp_quality = reading.quality
        good = reading.quality is Quality.OK
        self.pressure.add(reading.at_ns, reading.value if good else None)
