"""Jobs of samples at the bench: air and portion in the plan, the next step offered, what is due on the free bench."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field, replace
from typing import Any

import pytest

from logger.core.method import Sieve
from logger.core.register.events import RegisterKind
from logger.core.register.look import RegisterLook
from logger.core.register.state import RegisterState
from logger.core.run.commands import Reply
from logger.core.run.repeats import EarlierResult
from logger.core.shift.due import ShiftFacts
from logger.core.shift.policy import ShiftPolicy
from logger.core.snapshot import Snapshot
from logger.core.worklist.job import RunMade
from logger.service.job_desk import JobDesk
from logger.service.picture import snapshot
from logger.service.shift_queries import shift_answer, shift_queries, worklist_answer
from tests.core.register.entries import Register
from tests.core.run.plans import interval_method
from tests.core.worklist.test_job import run
from tests.service.bench import STARTED, DeskBench

pytestmark = pytest.mark.asyncio
UTC = "2026-02-01T06:30:00.000Z"
SAME = replace(interval_method(), sieve=Sieve(apertures_um=(45.0, 63.0), portion="same"))


@dataclass
class MemoryBook:
    """The store's answers, as the test has them."""

    register: Register = field(default_factory=Register)
    runs: list[RunMade] = field(default_factory=list)

    def state(self) -> RegisterState:
        return self.register.state

    def facts(self, state: RegisterState) -> ShiftFacts:
        return ShiftFacts()

    def count_since(self, utc: str) -> int:
        return len(self.runs)

    def runs_since(self, utc: str) -> list[RunMade]:
        return self.runs

    def runs_of_sample(self, sample_id: str, lot: str, method_id: str, revision: int) -> list[RunMade]:
        return [each for each in self.runs if each.sample_id == sample_id]


class MemoryRegister:
    """Only looks; entries are made on the book."""

    def __init__(self, book: MemoryBook) -> None:
        self._book = book

    def look(self, sieve_id: str, method_id: str, revision: int) -> RegisterLook:
        return RegisterLook(state=self._book.state())

    def earlier(self, sample_id: str, lot: str, method_id: str) -> tuple[EarlierResult, ...]:
        return ()

    def state(self) -> RegisterState:
        return self._book.state()

    def enter(self, make: Any) -> Any:
        raise NotImplementedError


def _bench(book: MemoryBook, method: Any = None, shift: ShiftPolicy | None = None) -> DeskBench:
    bench = DeskBench()
    service = bench.service
    plan = replace(service.setup.plan, shift=shift or ShiftPolicy())
    methods = {"m": method or interval_method()}
    service.setup = replace(service.setup, plan=plan, methods=methods)
    service._register = MemoryRegister(book)
    service.jobs = JobDesk(book, plan, None, methods)
    return bench


async def _start(bench: DeskBench, **args: Any) -> Reply:
    return await bench.service.command("start", "op-7", {**STARTED, **args})


def _plan(bench: DeskBench) -> Any:
    return bench.journal.events[0].data


async def test_air_and_bag_stand_in_the_plan_of_a_run() -> None:
    book = MemoryBook()
    book.register.add(RegisterKind.AIR_MEASURED, {"temperature_c": 21.5, "humidity_pct": 48.0})
    book.register.add(RegisterKind.PART_CHANGED, {"part": "bag"})
    bench = _bench(book)
    bench.clock.wall = UTC
    assert (await _start(bench)).ok
    found = _plan(bench)["conditions"]
    assert (found["temperature_c"], found["humidity_pct"], found["part"]) == (21.5, 48.0, "bag")
    assert _plan(bench)["portion"] is None


async def test_the_next_sieve_and_the_carried_portion_stand_in_the_plan() -> None:
    bench = _bench(MemoryBook(runs=[run(4, 40.0)]), SAME)
    assert (await _start(bench)).ok
    plan = _plan(bench)
    assert plan["aperture_um"] == 63.0
    assert plan["portion"] == {"from_run": 4, "run_id": "run-4", "mass_g": 10.0}


async def test_a_sieve_out_of_its_turn_is_refused_before_a_run_begins() -> None:
    bench = _bench(MemoryBook(), SAME)
    reply = await _start(bench, aperture_um=63.0)
    assert not reply.ok
    assert "next is 45 µm, not 63 µm" in reply.text
    assert bench.journal.events == []


async def test_the_next_step_is_offered_when_the_run_is_left() -> None:
    book = MemoryBook(runs=[run(1, 40.0)])
    bench = _bench(book, SAME)
    assert (await _start(bench)).ok
    plan = bench.service.engine.run.plan if bench.service.engine else None
    assert plan is not None
    assert bench.service.jobs is not None
    found = await bench.service.jobs.after(plan)
    assert found is not None
    assert (found.text, found.aperture_um, found.complete) == (
        "Next: sieve 2 of 2, 63 µm, on the residue of run 1.",
        63.0,
        False,
    )
    book.runs.append(run(2, 50.0, 63.0))
    done = await bench.service.jobs.after(plan)
    assert done is not None
    assert done.complete
    assert done.text == "The distribution is complete: lastgrain distribution 1 2"


async def _picture(bench: DeskBench) -> Snapshot:
    """After the first look, as soon as the service has started."""
    await bench.service.look_at_shift()
    return snapshot(bench.service)


async def test_what_was_left_is_offered_again_when_the_service_starts() -> None:
    bench = _bench(MemoryBook(runs=[replace(run(1, 40.0), point="mill 2", sampled_at="2026-02-01")]), SAME)
    shown = await _picture(bench)
    found = shown.next_run
    assert found is not None
    assert (found.text, found.aperture_um) == ("Next: sieve 2 of 2, 63 µm, on the residue of run 1.", 63.0)
    assert (found.sample_id, found.lot, found.point, found.sampled_at) == ("S-1", "L", "mill 2", "2026-02-01")
    assert found.operator_id == "", "who works now need not be who worked then"
    assert (shown.instruction.text, shown.instruction.detail) == (found.text, "Sample S-1.")


async def test_a_job_that_is_complete_or_was_never_begun_is_not_offered_at_the_start() -> None:
    done = [run(1, 40.0), run(2, 50.0, 63.0)]
    for runs in ([], done, [run(1, None, outcome="interrupted")]):
        assert (await _picture(_bench(MemoryBook(runs=runs), SAME))).next_run is None


async def test_a_job_by_a_method_that_has_another_revision_now_is_not_offered() -> None:
    old = replace(run(1, 40.0), revision=7)
    assert (await _picture(_bench(MemoryBook(runs=[old]), SAME))).next_run is None


async def test_only_what_was_left_lately_is_looked_for() -> None:
    asked: list[str] = []

    class Book(MemoryBook):
        def runs_since(self, utc: str) -> list[RunMade]:
            asked.append(utc)
            return []

    bench = _bench(Book(runs=[run(1, 40.0)]), SAME)
    bench.clock.wall = "2026-02-08T06:30:00.000Z"
    assert (await _picture(bench)).next_run is None
    await bench.service.look_at_shift()
    assert asked == ["2026-02-01T06:30:00.000Z"], "seven days back, and once"


async def test_what_was_left_is_not_offered_over_a_run_or_after_it() -> None:
    bench = _bench(MemoryBook(runs=[run(1, 40.0)]), SAME)
    await bench.service.look_at_shift()
    assert (await _start(bench)).ok
    assert snapshot(bench.service).next_run is None
    assert bench.service.jobs is not None
    assert (await bench.service.command("abort", "op-7", {"reason": "wrong sample"})).ok
    await asyncio.gather(*(task for task in asyncio.all_tasks() if task.get_name() == "finish-run"))
    assert bench.service.jobs.left is None


async def test_tasks_that_are_due_are_told_beside_what_was_left() -> None:
    bench = _bench(MemoryBook(runs=[run(1, 40.0)]), SAME, ShiftPolicy(air_every_hours=8))
    bench.clock.wall = UTC
    told = (await _picture(bench)).instruction
    assert told.text == "Next: sieve 2 of 2, 63 µm, on the residue of run 1."
    assert told.detail == "Sample S-1. 1 task of the start of shift is due (keys g, s)."


async def test_an_aborted_run_offers_nothing_new_of_its_own() -> None:
    bench = _bench(MemoryBook())
    assert (await _start(bench)).ok
    assert (await bench.service.command("abort", "op-7", {"reason": "wrong sample"})).ok
    await asyncio.gather(*(task for task in asyncio.all_tasks() if task.get_name() == "finish-run"))
    assert bench.service.next_run is None


async def test_a_free_bench_says_that_something_is_due() -> None:
    book = MemoryBook()
    bench = _bench(book, shift=ShiftPolicy(air_every_hours=8, zero_every_hours=8))
    bench.clock.wall = UTC
    await bench.service.look_at_shift()
    assert "2 tasks of the start of shift are due" in snapshot(bench.service).instruction.detail
    book.register.add(RegisterKind.AIR_MEASURED, {"temperature_c": 21.5, "humidity_pct": 48.0})
    book.register.add(RegisterKind.PRESSURE_ZEROED, {"zero_pa": 1.0})
    await bench.service.look_at_shift()
    assert "due" not in snapshot(bench.service).instruction.detail


async def test_the_questions_answer_in_json_values() -> None:
    book = MemoryBook()
    book.register.add(RegisterKind.SAMPLES_PLANNED, {"samples": [{"sample_id": "a"}, {"sample_id": "b"}]})
    book.register.add(RegisterKind.SAMPLE_WITHDRAWN, {"item": 1}, why="lost")
    bench = _bench(book)
    desk, plan = bench.service.jobs, bench.service.setup.plan
    assert desk is not None
    found = worklist_answer(desk, 10)
    assert [(each["item"], each["state"]) for each in found["items"]] == [(2, "planned"), (1, "withdrawn")]
    assert (found["open"], found["all"]) == (1, 2)
    assert worklist_answer(desk, 1)["items"][0]["item"] == 2
    assert worklist_answer(desk, 10, "2026-02-01T06:00:00.001Z")["items"] == []
    answers = shift_queries(desk, plan, lambda: "2026-05-02T05:59:59.000Z")
    assert answers["worklist"]({})["all"] == 2
    assert shift_queries(desk, plan, lambda: "2026-05-03T06:00:00.001Z")["worklist"]({})["all"] == 0
    assert [each["sample_id"] for each in answers["new_run"]({})["planned"]] == ["b"]
    assert shift_answer(desk, plan, UTC)["suction_off_pa"] == plan.alarms.lid_open_pa
