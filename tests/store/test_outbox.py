"""The outbox in SQLite against the contract of the port."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.core.ports import MessageKind, Outbox
from logger.core.record import build_record
from logger.store import history
from logger.store.journal import Journal
from logger.store.outbox import SqliteOutbox
from logger.store.outbox_rows import add_message
from tests.contracts.outbox_suite import OutboxSuite, OutboxUnderTest
from tests.store.quick_runs import open_journal, open_run, short_run


class _Box:
    def __init__(self, path: Path) -> None:
        self.path = path
        self.ids = UuidV7()
        self.journal: Journal
        self.outbox: SqliteOutbox
        self.open()

    def open(self) -> None:
        self.journal = open_journal(self.path)
        self.outbox = SqliteOutbox(self.journal.writer, utc_now)
        self.journal.on_message = self.outbox.poke

    async def add(self, kind: MessageKind, body: dict[str, Any]) -> None:
        run_id = str(body["run_id"])

        def job(connection: Any) -> None:
            if kind == "record":
                number = "(SELECT coalesce(max(number), 0) + 1 FROM run)"
                connection.execute(
                    f"INSERT OR IGNORE INTO run VALUES (?, {number}, '', '', '', '', 1, '', 0)", (run_id,)
                )
                connection.execute("INSERT OR IGNORE INTO record VALUES (?, 1, '', NULL, '{}')", (run_id,))
            add_message(connection, self.ids.new_id(), kind, run_id, utc_now(), body)

        await asyncio.wrap_future(self.journal.writer.submit(job))
        self.outbox.poke()

    async def reopen(self) -> Outbox:
        await asyncio.to_thread(self.journal.close)
        self.open()
        return self.outbox


class TestSqliteOutbox(OutboxSuite):
    @pytest.fixture
    def box(self, tmp_path: Path) -> Iterator[OutboxUnderTest]:
        made = _Box(tmp_path / "s.sqlite")
        yield OutboxUnderTest(outbox=made.outbox, add=made.add, reopen=made.reopen)
        made.journal.close()


@pytest.mark.asyncio
async def test_every_event_of_a_run_is_queued_with_its_batch_and_the_sender_is_woken(tmp_path: Path) -> None:
    journal = open_journal(tmp_path / "s.sqlite")
    outbox = SqliteOutbox(journal.writer, utc_now)
    journal.on_message = outbox.poke
    run = short_run(1)
    await asyncio.wrap_future(journal.start_run(run.run_id, run.events[0]))
    waiter = asyncio.create_task(outbox.wait_for_more(20.0))
    await asyncio.sleep(0)
    journal.add(run.run_id, run.events[1:])
    await asyncio.wait_for(waiter, 10.0)
    assert await outbox.last_seq() == len(run.events)
    (item,) = await outbox.unsent(1, 0)
    assert (item.seq, item.body["kind"], item.body["run_id"]) == (1, "run_planned", run.run_id)
    journal.close()


@pytest.mark.asyncio
async def test_the_sender_hears_of_whatever_is_added(tmp_path: Path) -> None:
    """It looks when told, so nothing may be added without a word."""
    journal = open_journal(tmp_path / "s.sqlite")
    outbox = SqliteOutbox(journal.writer, utc_now)
    journal.on_message = outbox.poke
    run = short_run(1)
    steps: list[Callable[[], object]] = [
        lambda: journal.start_run(run.run_id, run.events[0]),
        lambda: journal.add(run.run_id, run.events[1:]),
        lambda: journal.publish(run.run_id, "readings", {"run_id": run.run_id}),
        lambda: journal.issue_record(run.run_id, lambda head: build_record(run.run_id, run.facts, head)),
    ]
    for step in steps:
        before = await outbox.last_seq()
        waiter = asyncio.create_task(outbox.wait_for_more(20.0))
        await asyncio.sleep(0)
        step()
        await asyncio.wait_for(waiter, 10.0)
        assert await outbox.last_seq() > before
        await outbox.wait_for_more(0.2)  # a record's event may be told a second time
    journal.close()


@pytest.mark.asyncio
async def test_a_word_before_the_first_wait_is_kept(tmp_path: Path) -> None:
    box = _Box(tmp_path / "s.sqlite")
    assert await box.outbox.unsent(1, 0) == []
    await box.add("event", {"run_id": "r1"})
    begun_s = asyncio.get_running_loop().time()
    await box.outbox.wait_for_more(20.0)
    assert asyncio.get_running_loop().time() - begun_s < 10.0
    box.journal.close()


@pytest.mark.asyncio
async def test_newest_record_is_that_of_the_newest_run_not_of_the_last_message(tmp_path: Path) -> None:
    """A correction of an old run must not become the plant's latest."""
    box = _Box(tmp_path / "s.sqlite")
    for run_id in ("r1", "r2", "r1"):
        await box.add("record", {"run_id": run_id})
    item = await box.outbox.newest_record()
    assert item is not None
    assert item.body["run_id"] == "r2"
    with history.reading(box.path) as connection:
        plan = connection.execute(
            "EXPLAIN QUERY PLAN SELECT seq FROM outbox WHERE kind = 'record' AND run_id = 'r1' ORDER BY seq DESC"
        ).fetchall()
    assert "outbox_record" in str(plan)
    box.journal.close()


def test_an_event_that_json_cannot_hold_stops_nothing(tmp_path: Path) -> None:
    journal = open_journal(tmp_path / "s.sqlite")
    run = open_run(1)
    journal.start_run(run.run_id, run.events[0]).result()
    odd = type(run.events[0])(
        run.events[0].kind.NOTED, 5, utc_now(), {"by": "\ud800", "note": "", "text": float("nan")}
    )
    journal.add(run.run_id, [odd])
    journal.flush().result()
    journal.close()
    with history.reading(tmp_path / "s.sqlite") as connection:
        events = history.run_events(connection, run.run_id)
    assert events[1].data == {"by": "\\ud800", "note": "", "text": None}


@pytest.mark.parametrize("spoil", ["substr(body, 2)", "replace(body, 'r1', 'r2')", "'[1]'", "''"])
def test_a_message_that_was_altered_has_no_body_and_those_beside_it_are_untouched(
    tmp_path: Path, spoil: str
) -> None:
    box = _Box(tmp_path / "s.sqlite")

    async def body() -> list[dict[str, Any]]:
        for text in ("a", "b", "c"):
            await box.add("event", {"run_id": "r1", "text": text})
        job = f"UPDATE outbox SET body = {spoil} WHERE seq = 2"
        await asyncio.wrap_future(box.journal.writer.submit(lambda connection: connection.execute(job)))
        return [item.body for item in await box.outbox.unsent(10, 10**6)]

    first, second, third = asyncio.run(body())
    box.journal.close()
    assert (first["text"], second, third["text"]) == ("a", {}, "c")
