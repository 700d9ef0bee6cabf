"""What was found before of a sample, by the newest revisions; and the start of a run that asks for it."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest

from logger.core.readings import Channel
from logger.core.register.policy import CheckPolicy
from logger.core.run.live import no_live_rate
from logger.service.bench_service import BenchService, BenchSetup
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
    register = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    return [(e.number, e.revision, e.decision) for e in register.earlier(sample, lot, "m")]


def test_results_follow_the_sample_as_it_was_corrected(store: MadeStore) -> None:
    journal = open_journal(store.data.store)
    assert found(journal, store) == [(1, 1, "accept"), (2, 1, "reject"), (4, 1, None)]
    assert found(journal, store, "L-2") == [(3, 1, "reject")]
    journal.close()
    assert store("runs", "correct", "3", "--lot", "", "--by", "op-7", "--why", "wrong label").code == 0
    journal = open_journal(store.data.store)
    assert found(journal, store) == [(1, 1, "accept"), (2, 1, "reject"), (3, 2, "reject"), (4, 1, None)]
    assert found(journal, store, "L-2") == []
    with reading(store.data.store) as connection:
        plan = connection.execute(
            "EXPLAIN QUERY PLAN SELECT 1 FROM record WHERE "
            "CASE WHEN json_valid(record.body) THEN json_extract(record.body, '$.sample.sample_id') END = ?",
            ("S-1",),
        ).fetchall()
    assert "record_sample" in str(plan), "100,000 runs are not read for one start"
    journal.close()


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
