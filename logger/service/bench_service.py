"""The bench's owner: readings, links, time and commands go in; events go to the journal; watchers see snapshots.

Everything here runs on one event loop. Work on the disk is handed to the journal and never waited for,
except where a run begins or ends.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping, Sequence
from typing import Any

from logger.core.ports import Clock, IdSource, PlantLink, Register, RunJournal
from logger.core.readings import Channel, Reading
from logger.core.record import build_record
from logger.core.refusal import ResultError
from logger.core.run.commands import Command, Do, Refused, Reply
from logger.core.run.engine import RunEngine
from logger.core.run.events import EventKind
from logger.core.run.plan import RunPlan
from logger.core.run.states import RunState
from logger.core.snapshot import LinkState, NextRunView
from logger.service.bench_setup import BenchSetup
from logger.service.clock_watch import ClockWatch, clock_unset
from logger.service.event_list import EventList
from logger.service.history import TraceHistory
from logger.service.idle import IdleBench
from logger.service.job_desk import JobDesk
from logger.service.links import Links
from logger.service.office import COMMANDS as OFFICE_COMMANDS
from logger.service.office import Office
from logger.service.permit_desk import PermitDesk
from logger.service.readings_blocks import ReadingsBlocks, shift_utc
from logger.service.register_desk import entered_text, entry_maker
from logger.service.start_desk import StartDesk, file_changed


class BenchService:
    """One bench. `changed` is set whenever watchers should look again."""

    def __init__(
        self,
        setup: BenchSetup,
        clock: Clock,
        ids: IdSource,
        journal: RunJournal,
        plant: PlantLink,
        permit: PermitDesk | None = None,
        register: Register | None = None,
    ) -> None:
        """Nothing is started; the caller feeds `on_readings`, `on_link` and `tick`."""
        self.setup, self.clock, self.plant = setup, clock, plant
        self._ids, self._journal = ids, journal
        self.permit = permit
        self.office: Office | None = None
        """People, reviews and the like; set by who composes the service."""
        self.jobs: JobDesk | None = None
        """What samples still need, and the air of a run; set by who composes the service."""
        self.next_run: NextRunView | None = None
        self._register = register
        self.engine: RunEngine | None = None
        self.run_id = ""
        self.idle = IdleBench(setup.plan)
        self.links = Links(setup.ports, setup.profiles)
        self.history = TraceHistory()
        self._blocks = ReadingsBlocks(setup.speed)
        self.events = EventList()
        self.controls_held_by = ""
        self.changed = asyncio.Event()
        self.trouble = ""
        self.failed_parts: dict[str, str] = {}
        """Parts beside the run that have failed and are started again, by name, with a sentence."""
        self.changed_methods: set[str] = set()
        """Methods whose files are no longer what the service read."""
        self.interrupted_runs = 0
        """Runs that the service before this one left open; told until a run begins."""
        self._starting = False
        self._finishing: asyncio.Task[None] | None = None
        self._clocks = ClockWatch(clock)

    # --- what comes in ----------------------------------------------------------------------------------

    def on_readings(self, readings: Sequence[Reading]) -> None:
        """Readings of one instrument in order of arrival."""
        for reading in readings:
            self.idle.add(reading)
            self.history.add(reading)
        engine = self.engine
        if engine is None or engine.ended:
            self._update_permit()
            return
        for reading in readings:
            engine.on_reading(reading)
        if engine.run.live is not None:
            state = engine.run.live.state()
            self.history.estimate = (state.load_g, state.rate_pct_per_min, state.rate_u_pct_per_min)
        self._after_input(readings)
        if self.setup.publish_readings:
            self._collect(readings, last=engine.ended)

    def on_link(self, channel: Channel, state: str, text: str) -> None:
        """A link changed; told at once, whatever the run does."""
        self.links.set(channel, state, text)
        if state != "up":
            self.idle.link_lost(channel)
        if self.engine is not None and not self.engine.ended:
            self.engine.on_link(channel, state, text, self.clock.now_ns())
            self._after_input(())
        self.changed.set()

    def on_permit_link(self, state: LinkState, text: str) -> None:
        """The link to the permit relay changed."""
        if self.permit is not None:
            self.permit.set_link(state, text)
            self.changed.set()

    def tick(self) -> None:
        """Time passed; call it ten times a second while no readings come, and once a second while they do."""
        self._update_permit()
        now_ns = self.clock.now_ns()
        step_s, slept_s = self._clocks.look()
        engine = self.engine
        if engine is None or engine.ended:
            return
        if step_s:
            engine.clock_stepped(step_s, now_ns)
        if slept_s:
            engine.invalidate(f"the computer slept for {slept_s:.0f} s", now_ns)
        engine.tick(now_ns)
        self._after_input(())

    async def command(self, name: str, by: str, args: Mapping[str, Any]) -> Reply:
        """A person's wish. Never raises for anything a person can send."""
        try:
            if name == "start":
                return Reply(True, await self._start_alone(args))
            if name == "register":
                return await self._enter(by, args)
            if name in OFFICE_COMMANDS and self.office is not None:
                return Reply(True, await self.office.handle(name, args, self.clock.utc()))
            return self._to_run(name, by, args)
        except (Refused, ResultError) as refusal:
            return Reply(False, str(refusal))

    def can(self) -> tuple[str, ...]:
        """Commands that would be looked at now."""
        if self.engine is None:
            return ("start",)
        if self.engine.ended and self._finishing is None:
            return (*self.engine.can(), "start") if self.engine.can() else ("close", "start")
        return self.engine.can()

    def method_file_changed(self, method_id: str) -> None:
        """The file of a method is no longer what was read: an open run goes on with its frozen copy."""
        self.changed_methods.add(method_id)
        engine = self.engine
        if engine is not None and not engine.ended and engine.run.plan.method.method.id == method_id:
            engine.note_deviation(*file_changed(method_id), self.clock.now_ns())
            self._after_input(())
        self.changed.set()

    def part_failed(self, name: str, text: str) -> None:
        """Something beside the run failed and will be started again; empty when it works."""
        if text:
            self.failed_parts[name] = text
        else:
            self.failed_parts.pop(name, None)
        self.changed.set()

    def clock_unset(self) -> bool:
        """Whether the wall clock cannot be right."""
        return clock_unset(self.clock.utc())

    def run_revised(self, run_id: str) -> None:
        """The record of a run was reviewed or corrected. What the bench shows of it no longer holds: it is free."""
        if run_id == self.run_id and self.engine is not None and self.engine.ended:
            self.engine, self.run_id = None, ""
            self.changed.set()

    def store_lost(self, reason: str) -> None:
        """Readings of the open run are lost: it can no longer become a result."""
        if self.engine is not None and not self.engine.ended:
            self.engine.invalidate(reason, self.clock.now_ns())
            self._after_input(())

    async def end_open_run(self, reason: str) -> None:
        """The service stops: an open run ends as interrupted, and its record is written."""
        if self.engine is not None and not self.engine.ended:
            self.engine.interrupt(reason, self.clock.now_ns())
            self._after_input(())
        if self._finishing is not None:
            await self._finishing

    # --- inside -----------------------------------------------------------------------------------------

    async def _start_alone(self, args: Mapping[str, Any]) -> str:
        """One start at a time: looking into the store takes a moment in which a second wish may come."""
        if self._starting:
            raise Refused("A run is just being started on this bench.")
        self._starting = True
        try:
            return await self._start(args)
        finally:
            self._starting = False

    async def _start(self, args: Mapping[str, Any]) -> str:
        if self.engine is not None and (not self.engine.ended or self._finishing is not None):
            raise Refused("A run is open on this bench: finish or abort it first.")
        desk = StartDesk(self.setup, self.clock, self._ids, self._register, self.jobs)
        plan = await desk.plan(args, self.changed_methods, self._require_up)
        number = await self._open_run(plan)
        return f"Run {number} is planned."

    def _require_up(self) -> None:
        self.links.require_up()
        if self.permit is not None:
            self.permit.require_up()

    async def _enter(self, by: str, args: Mapping[str, Any]) -> Reply:
        """An entry of the register: `kind`, `entry`, `why`, and `by` where it is not who holds the controls."""
        if self._register is None:
            raise Refused("This bench keeps no register.")
        make = entry_maker(args, by, self.clock.utc(), self.setup.plan)
        event = await asyncio.wrap_future(self._register.enter(make))
        await self.look_at_shift()
        return Reply(True, entered_text(event))

    async def look_at_shift(self) -> None:
        """What is due is counted anew: after every entry, and now and then."""
        if self.jobs is not None:
            await self.jobs.look(self.clock.utc())
            self.changed.set()

    async def _open_run(self, plan: RunPlan) -> int:
        engine = RunEngine(plan, self.clock.now_ns(), self.clock.utc, self.setup.live_rate)
        planned = engine.take_events()
        number = await asyncio.wrap_future(self._journal.start_run(plan.run_id, planned[0]))
        self.engine, self.run_id, self.next_run = engine, plan.run_id, None
        self.events.clear()
        self.history.clear()
        self._blocks.clear()
        self.events.show(planned, engine.run)
        self.changed.set()
        return number

    def _to_run(self, name: str, by: str, args: Mapping[str, Any]) -> Reply:
        engine = self.engine
        if engine is None:
            raise Refused("There is no run: start one first.")
        if name == "close" and engine.ended and engine.state is not RunState.AWAITING_REVIEW:
            return self._leave("The bench is free.")
        if name == "close" and engine.ended and engine.run.plan.operator_name is not None:
            # A registered operator's run is closed by its review.
            return self._leave("The bench is free. The run waits for its review.")
        if name not in list(Do):
            raise Refused(f"There is no command {name!r}.")
        reply = engine.command(Command(Do(name), by, dict(args)), self.clock.now_ns())
        self._after_input(())
        self.changed.set()
        return self._leave(reply.text) if engine.state is RunState.CLOSED else reply

    def _leave(self, text: str) -> Reply:
        if self._finishing is not None:
            return Reply(False, "Wait: the record is being written.")
        self.engine, self.run_id = None, ""
        self.changed.set()
        return Reply(True, text if self.next_run is None else f"{text} {self.next_run.text}")

    def _after_input(self, readings: Sequence[Reading]) -> None:
        """What the run made of an input is kept, and the permit follows at once: an abort is no input to wait for."""
        self._keep(readings)
        self._update_permit()

    def _keep(self, readings: Sequence[Reading]) -> None:
        engine = self.engine
        if engine is None:
            return
        events = engine.take_events()
        if events or readings:
            self._journal.add(self.run_id, events, readings)
        if not events:
            return
        self.events.show(events, engine.run)
        self.changed.set()
        if any(event.kind in _ENDING for event in events):
            self._finishing = asyncio.create_task(self._finish(self.run_id, engine), name="finish-run")

    def _collect(self, readings: Sequence[Reading], last: bool) -> None:
        for reading in readings:
            self._blocks.add(reading)
        engine, now_ns = self.engine, self.clock.now_ns()
        zero_ns = None if engine is None else engine.run.facts.suction_start_ns
        if zero_ns is None or not (last or self._blocks.due(now_ns)):
            return
        zero_utc = shift_utc(self.clock.utc(), -(now_ns - zero_ns) / 1e9 / self.setup.speed)
        block = self._blocks.take(self.run_id, zero_ns, zero_utc)
        if block is not None:
            self._journal.publish(self.run_id, "readings", block)

    async def _finish(self, run_id: str, engine: RunEngine) -> None:
        facts = engine.run.facts
        try:
            await asyncio.wrap_future(
                self._journal.issue_record(run_id, lambda head: build_record(run_id, facts, head))
            )
            if self.jobs is not None:
                self.next_run = await self.jobs.after(engine.run.plan)
            await asyncio.wrap_future(self._journal.archive(run_id))
        except Exception as error:
            self.trouble = f"The record could not be written ({error}); it is made as soon as it can be."
        finally:
            self._finishing = None
            self.changed.set()

    def _update_permit(self) -> None:
        if self.permit is not None and self.permit.update(self.engine, self.clock.now_ns()):
            self._keep(())
            self.changed.set()


_ENDING = frozenset(
    {EventKind.RESULT_COMPUTED, EventKind.ABORTED, EventKind.INVALIDATED, EventKind.INTERRUPTED}
)
