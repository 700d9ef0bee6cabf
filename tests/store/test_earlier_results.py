"""What was found before of a sample, by the newest revisions; and the start of a run that asks for it."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest

from logger.core.readings import Channel
from logger.core.record_parts import RecordEarlier
from logger.core.register.policy import CheckPolicy
from logger.core.run.commands import Refused
from logger.core.run.live import no_live_rate
from logger.core.run.repeats import check_repeat
from logger.service.bench_service import BenchService
from logger.service.bench_setup import BenchSetup
from logger.store import register, shift_book
from logger.store.history import reading
from logger.store.journal import Journal
from logger.store.register import StoreRegister
from logger.store.shift_book import StoreShiftBook
from tests.app.stores import MadeStore, made_store
from tests.core.run.made_runs import method
from tests.core.run.plans import bench_plan
from tests.service.bench import Ids, MemoryJournal, MovedClock, NoPlant
from tests.store.quick_runs import open_journal


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    """Run 1 in, run 2 out of specification, run 3 of another lot, run 4 aborted."""
    made = made_store(tmp_path / "data")
    made.run(method())
    made.run(method(), 1.2)
    made.run(method(), 1.2, lot="L-2")
    made.run(method(), outcome=None)
    return made


def found(journal: Journal, store: MadeStore, lot: str = "", sample: str = "S-1") -> list[tuple[Any, ...]]:
    looks = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    return [(e.number, e.revision, e.decision) for e in looks.earlier(sample, lot, "m")]


def correct(store: MadeStore, number: int, *change: str) -> None:
    done = store("runs", "correct", str(number), *change, "--by", "op-7", "--why", "wrong label")
    assert done.code == 0, done.err


def record(store: MadeStore, number: int) -> dict[str, Any]:
    with reading(store.data.store) as connection:
        (text,) = connection.execute(
            "SELECT body FROM record JOIN run USING (run_id) WHERE number = ? ORDER BY revision DESC",
            (number,),
        ).fetchone()
    body: dict[str, Any] = json.loads(text)
    return body


def test_a_result_is_of_each_sample_that_its_run_was_ever_of(store: MadeStore) -> None:
    journal = open_journal(store.data.store)
    assert found(journal, store) == [(1, 1, "accept"), (2, 1, "reject"), (4, 1, None)]
    assert found(journal, store, "L-2") == [(3, 1, "reject")]
    journal.close()
    correct(store, 3, "--lot", "")
    journal = open_journal(store.data.store)
    assert found(journal, store) == [(1, 1, "accept"), (2, 1, "reject"), (3, 2, "reject"), (4, 1, None)]
    assert found(journal, store, "L-2") == [(3, 2, "reject")]
    looks = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    assert [each.now for each in looks.earlier("S-1", "L-2", "m")] == ["sample S-1"]
    assert {each.now for each in looks.earlier("S-1", "", "m")} == {""}
    journal.close()


@pytest.mark.parametrize("query", [register._OF_SAMPLE, shift_book._RUNS + shift_book._OF_SAMPLE])
def test_a_start_does_not_read_every_run(store: MadeStore, query: str) -> None:
    """Of 100,000 runs only those of the sample are looked at, by an index."""
    with reading(store.data.store) as connection:
        values = ["S-1"] * query.count("?")
        plan = connection.execute(f"EXPLAIN QUERY PLAN {query}", values).fetchall()
    steps = [row[-1] for row in plan]
    assert any("record_sample" in step for step in steps)
    assert not [step for step in steps if step.startswith("SCAN record")], steps


def test_a_result_out_of_specification_is_not_corrected_away(store: MadeStore) -> None:
    correct(store, 2, "--sample", "S-9")
    journal = open_journal(store.data.store)
    looks = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    for sample, words in (("S-1", "run 2: 4.80 %, corrected to sample S-9 since"), ("S-9", "run 2: 4.80 %")):
        with pytest.raises(Refused, match=words):
            check_repeat(method(), 45.0, looks.earlier(sample, "", "m"), "")
    journal.close()


def test_a_run_that_becomes_a_repeat_by_a_correction_says_so(store: MadeStore) -> None:
    """Tested under another name so that nobody asks, and renamed once the figure pleased."""
    store.run(method(), sample="S-1b")
    assert record(store, 5)["repeat"] is None
    correct(store, 5, "--sample", "S-1")
    after = record(store, 5)
    assert after["repeat"]["reason"] == "corrected: wrong label"
    assert [each["number"] for each in after["repeat"]["earlier"]] == [1, 2]
    assert {*after["repeat"]["earlier"][0]} == {*RecordEarlier.__dataclass_fields__}
    (deviation,) = after["deviations"]
    assert deviation["key"] == "out-of-specification-repeat"
    assert "run 2 4.80 %" in deviation["text"]
    assert store("runs", "verify").code == 0


def test_a_correction_to_a_sample_that_was_never_out_of_specification_is_no_repeat(store: MadeStore) -> None:
    correct(store, 1, "--sample", "S-9")
    correct(store, 3, "--point", "mill 2")
    for number in (1, 3):
        body = record(store, number)
        assert (body["revision"], body["repeat"], body["deviations"]) == (2, None, [])


def test_results_after_a_run_make_it_no_repeat(store: MadeStore) -> None:
    """Run 1 came before run 2, which is out of specification: it was not tested again."""
    correct(store, 1, "--sample", "S-9")
    correct(store, 1, "--sample", "S-1")
    assert record(store, 1)["repeat"] is None


def test_a_job_counts_the_runs_of_its_sample_as_they_are_now(store: MadeStore) -> None:
    correct(store, 1, "--sample", "S-9")
    book = StoreShiftBook(store.data.store, CheckPolicy())

    def numbers(sample: str, lot: str = "") -> list[int]:
        return [run.number for run in book.runs_of_sample(sample, lot, "m", 1)]

    assert (numbers("S-1"), numbers("S-9"), numbers("S-1", "L-2")) == ([2, 4], [1], [3])
    assert [run.sample_id for run in book.runs_since("")] == ["S-9", "S-1", "S-1", "S-1"]


def test_what_a_job_is_offered_with_follows_the_newest_record(store: MadeStore) -> None:
    made = store("runs", "correct", "3", "--point", "mill 2", "--by", "op-7", "--why", "left out")
    assert made.code == 0
    (run,) = StoreShiftBook(store.data.store, CheckPolicy()).runs_of_sample("S-1", "L-2", "m", 1)
    assert (run.number, run.lot, run.point) == (3, "L-2", "mill 2")


def test_a_start_asks_for_the_reason_and_the_plan_keeps_it(store: MadeStore) -> None:
    journal, kept = open_journal(store.data.store), MemoryJournal()
    setup = BenchSetup(
        plan=bench_plan(),
        methods={"m": method()},
        rig=None,
        software="test",
        speed=1.0,
        simulated=True,
        live_rate=no_live_rate,
        ports=dict.fromkeys(Channel, "/dev/null"),
        profiles=dict.fromkeys(Channel, "none"),
    )
    register = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    service = BenchService(setup, MovedClock(), Ids(), kept, NoPlant(), None, register)
    for channel in Channel:
        service.on_link(channel, "up", "answers.")
    start = {"method_id": "m", "sample_id": "S-1", "operator_id": "op-7"}
    refused = asyncio.run(service.command("start", "op-7", start))
    assert (refused.ok, "run 2: 4.80 %): a repeat needs a reason" in refused.text) == (False, True)
    assert asyncio.run(service.command("start", "op-7", start | {"repeat_reason": "sieve was wet"})).ok
    plan = kept.events[0].data
    assert plan["repeat"]["reason"] == "sieve was wet"
    assert [each["number"] for each in plan["repeat"]["earlier"]] == [1, 2]
    journal.close()
