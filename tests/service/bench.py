"""The service in this process: a clock that the test moves, a journal in memory, no port and no socket."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

from logger.core.ports import MessageKind
from logger.core.readings import Channel, Quality, Reading
from logger.core.record import ChainHead, Record
from logger.core.run.events import Event
from logger.core.run.live import no_live_rate
from logger.core.snapshot import BrokerView
from logger.service.bench_service import BenchService
from logger.service.bench_setup import BenchSetup
from tests.core.run.plans import bench_plan, interval_method

STARTED = {"method_id": "m", "sample_id": "S-1", "operator_id": "op-7"}


@dataclass
class MovedClock:
    """Everything the service knows of time."""

    ns: int = 0
    wall: str = "2026-02-01T06:00:00.000Z"
    slept_s: float = 0.0
    offset_s: float = 0.0

    def now_ns(self) -> int:
        return self.ns

    def utc(self) -> str:
        return self.wall

    def suspended_s(self) -> float:
        return self.slept_s

    def wall_offset_s(self) -> float:
        return self.offset_s


@dataclass
class MemoryJournal:
    """What was handed over, in order."""

    events: list[Event] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    records: list[dict[str, Any]] = field(default_factory=list)

    def start_run(self, run_id: str, planned: Event) -> Future[int]:
        self.events.append(planned)
        return _done(1)

    def add(self, run_id: str, events: Sequence[Event], readings: Sequence[Reading] = ()) -> None:
        self.events += events
        self.readings += readings

    def issue_record(self, run_id: str, build: Callable[[ChainHead], Record]) -> Future[dict[str, Any]]:
        self.records.append(build(ChainHead(1, "0" * 64)).body())
        return _done(self.records[-1])

    def archive(self, run_id: str) -> Future[None]:
        return _done(None)

    def publish(self, run_id: str, kind: MessageKind, body: dict[str, Any]) -> Future[None]:
        return _done(None)


class NoPlant:
    def view(self) -> BrokerView:
        return BrokerView(state="off", text="", waiting=0, set_aside=0, last_ack_age_s=None, insecure=False)

    def set_live(self, values: dict[str, Any]) -> None:
        pass


class Ids:
    def new_id(self) -> str:
        return "00000000-0000-7000-8000-000000000001"


def _done(value: Any) -> Future[Any]:
    future: Future[Any] = Future()
    future.set_result(value)
    return future


@dataclass
class DeskBench:
    """The service with its clock and journal; links up, no run yet."""

    clock: MovedClock = field(default_factory=MovedClock)
    journal: MemoryJournal = field(default_factory=MemoryJournal)

    def __post_init__(self) -> None:
        setup = BenchSetup(
            plan=bench_plan(),
            methods={"m": interval_method()},
            rig=None,
            software="test",
            speed=1.0,
            simulated=True,
            live_rate=no_live_rate,
            ports=dict.fromkeys(Channel, "/dev/null"),
            profiles=dict.fromkeys(Channel, "none"),
        )
        self.service = BenchService(setup, self.clock, Ids(), self.journal, NoPlant())
        for channel in Channel:
            self.service.on_link(channel, "up", "answers.")

    def second(self, mass_g: float = 0.0, dp_pa: float = 0.0) -> None:
        """One second with a reading of each instrument."""
        self.clock.ns += 10**9
        at_ns = self.clock.ns
        self.service.on_readings([Reading(Channel.MASS, at_ns, mass_g, Quality.OK, True, 0.001, "m")])
        self.service.on_readings([Reading(Channel.PRESSURE, at_ns, dp_pa, Quality.OK, None, 1.0, "p")])
        self.service.tick()

    def kinds(self) -> list[str]:
        return [event.kind.value for event in self.journal.events]
