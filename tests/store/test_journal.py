"""The journal in SQLite: the port's contract, group commit, pace, and no thread left behind."""

from __future__ import annotations

import sqlite3
import statistics
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.core.run.commands import Refused
from logger.core.run.events import Event, EventKind
from logger.store import history, writer
from logger.store.due import Due
from logger.store.errors import StoreError
from logger.store.journal import Journal
from tests.contracts.journal_suite import JournalSuite, JournalUnderTest
from tests.store.quick_runs import (
    findings,
    keep,
    open_journal,
    open_run,
    reading_of,
    real_run,
    short_run,
    verdicts,
)


class TestSqliteJournal(JournalSuite):
    @pytest.fixture
    def made(self, tmp_path: Path) -> Iterator[JournalUnderTest]:
        path = tmp_path / "s.sqlite"
        journal = open_journal(path)

        def read(what: object, run_id: str) -> object:
            with history.reading(path) as connection:
                return what(connection, run_id)  # type: ignore[operator]

        yield JournalUnderTest(
            journal=journal,
            flush=lambda: journal.flush().result(),
            events=lambda run_id: read(history.run_events, run_id),  # type: ignore[arg-type, return-value]
            readings=lambda run_id: read(history.run_readings, run_id),  # type: ignore[arg-type, return-value]
            record=lambda run_id: read(history.record_body, run_id),  # type: ignore[arg-type, return-value]
        )
        journal.close()
        assert verdicts(path) == {"no-outside-head"}


def test_due_is_never_put_off_by_more_work() -> None:
    """The promise of 0.25 s: the first hand-over sets the time, whatever follows."""
    due = Due()
    assert due.wait_s(100.0) is None
    assert due.set(100.2)
    assert not due.set(100.39)
    assert due.wait_s(100.1) == pytest.approx(0.1)
    assert due.wait_s(100.3) == 0.0
    due.clear()
    assert not due.is_set
    assert writer.GROUP_COMMIT_S <= 0.25


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    made = open_journal(tmp_path / "s.sqlite")
    yield made
    made.close()


def _durable_after_s(journal: Journal, run_id: str, place: int) -> float:
    """From hand-over until another connection finds it."""
    with sqlite3.connect(f"file:{journal.path}?mode=ro", uri=True, isolation_level=None) as reader:
        query = "SELECT count(*) FROM batch WHERE run_id = ?"
        before = reader.execute(query, (run_id,)).fetchone()
        start_s = time.monotonic()
        journal.add(run_id, [], [reading_of(1, place)])
        while reader.execute(query, (run_id,)).fetchone() == before:
            assert time.monotonic() < start_s + 10
            time.sleep(0.002)
        taken_s = time.monotonic() - start_s
    reader.close()
    return taken_s


def test_durable_within_a_quarter_second_without_being_asked(journal: Journal) -> None:
    """Median, because other programs share the machine's disk; the worst is printed."""
    run = open_run(1)
    journal.start_run(run.run_id, run.events[0]).result()
    times_s = [_durable_after_s(journal, run.run_id, place) for place in range(9)]
    print(f"hand-over to durable: median {statistics.median(times_s):.3f} s, worst {max(times_s):.3f} s")
    assert statistics.median(times_s) <= 0.25


def test_readings_handed_over_together_share_a_commit(journal: Journal) -> None:
    run = open_run(1)
    journal.start_run(run.run_id, run.events[0]).result()
    for place in range(500):
        journal.add(run.run_id, [], [reading_of(1, place)])
    head = journal.flush().result()
    assert head.batch <= 4


def test_two_thousand_readings_a_second_are_all_kept(tmp_path: Path) -> None:
    """Three seconds' worth in the paces of a flood (50 ms of readings at a time), as fast as they come."""
    journal = open_journal(tmp_path / "s.sqlite")
    run = open_run(1)
    journal.start_run(run.run_id, run.events[0]).result()
    start_s = time.monotonic()
    for place in range(0, 20_000, 100):
        journal.add(run.run_id, [], [reading_of(1, place + i) for i in range(100)])
    journal.flush().result()
    print(f"20,000 readings durable in {time.monotonic() - start_s:.2f} s")
    journal.close()
    with history.reading(journal.path) as connection:
        kept = history.run_readings(connection, run.run_id)
    assert kept == [reading_of(1, place) for place in range(20_000)]


def test_a_whole_real_run_is_kept_packed_and_sound(tmp_path: Path) -> None:
    run = real_run()
    journal = open_journal(tmp_path / "s.sqlite")
    keep(journal, run, batches=400)
    journal.close()
    with history.reading(journal.path) as connection:
        assert history.run_readings(connection, run.run_id) == run.readings
        assert history.run_events(connection, run.run_id)[:-1] == run.events
        left, packed = connection.execute(
            "SELECT (SELECT count(*) FROM batch), (SELECT sum(length(packed) + length(marks)) FROM stretch)"
        ).fetchone()
    assert left == 1
    assert packed / len(run.readings) <= 6
    assert verdicts(journal.path) == {"no-outside-head"}


def test_a_job_never_overtakes_what_was_handed_over_before(journal: Journal) -> None:
    run = open_run(1)
    journal.start_run(run.run_id, run.events[0]).result()
    for place in range(50):
        journal.add(run.run_id, [], [reading_of(1, place)])
        seen = journal.writer.submit(
            lambda c: c.execute("SELECT sum(length(readings)) FROM batch").fetchone()[0]
        )
        assert seen.result() > place * 40


def test_a_fault_in_a_callback_does_not_stop_the_writer(tmp_path: Path) -> None:
    journal = open_journal(tmp_path / "s.sqlite")
    run = short_run(1)

    def broken() -> None:
        raise RuntimeError("a listener's bug")

    journal.on_message = broken
    journal.start_run(run.run_id, run.events[0]).result()
    for event in run.events[1:]:
        journal.add(run.run_id, [event])
        journal.flush().result()
    journal.close()
    assert findings(journal.path)[0].sound


def test_a_job_whose_caller_is_gone_stops_nothing(journal: Journal) -> None:
    """The loop cancels what a task waited for when the task ends."""
    hold, begun = threading.Event(), threading.Event()

    def busy(connection: sqlite3.Connection) -> bool:
        begun.set()
        return hold.wait(10)

    first = journal.writer.submit(busy)
    second = journal.writer.submit(lambda c: c.execute("INSERT INTO meta VALUES ('second', '')"))
    begun.wait(10)
    assert not first.cancel(), "it runs already"
    assert second.cancel()
    hold.set()
    kept = journal.writer.submit(
        lambda c: c.execute("SELECT count(*) FROM meta WHERE key = 'second'").fetchone()
    )
    assert kept.result(10) == (0,)


def test_a_run_whose_start_was_given_up_stops_nothing(journal: Journal) -> None:
    hold = threading.Event()
    journal.writer.submit(lambda c: hold.wait(10))
    run = open_run(1)
    given_up = journal.start_run(run.run_id, run.events[0])
    assert given_up.cancel()
    hold.set()
    journal.flush().result(10)


def test_an_event_of_which_no_sentence_can_be_made_stops_nothing(tmp_path: Path) -> None:
    journal = open_journal(tmp_path / "s.sqlite")
    run = open_run(1)
    journal.start_run(run.run_id, run.events[0]).result()
    journal.add(run.run_id, [Event(EventKind.HELD, 5, "2026-01-05T06:00:00.000Z", {})], [reading_of(1, 0)])
    journal.flush().result(10)
    journal.close()
    with history.reading(journal.path) as connection:
        assert len(history.run_events(connection, run.run_id)) == 2


def test_after_closing_nothing_is_taken_and_no_thread_is_left(tmp_path: Path) -> None:
    before = threading.active_count()
    journal = open_journal(tmp_path / "s.sqlite")
    run = short_run(1)
    keep(journal, run)
    journal.add(run.run_id, [], [reading_of(1, 0)])
    journal.close()
    assert threading.active_count() == before
    with pytest.raises(StoreError, match="was closed"):
        journal.flush().result(10)
    with history.reading(journal.path) as connection:
        assert history.run_readings(connection, run.run_id)[-1] == reading_of(1, 0)


def test_no_run_starts_below_the_floor_of_free_space(tmp_path: Path) -> None:
    told: list[str | None] = []
    journal = open_journal(tmp_path / "s.sqlite", free_floor_bytes=1 << 60)
    journal.on_trouble = told.append
    run = short_run(1)
    with pytest.raises(Refused, match="MiB are free") as refusal:
        journal.start_run(run.run_id, run.events[0]).result()
    assert str(tmp_path) in str(refusal.value)
    journal.flush().result()
    journal.close()
    assert "Make room" in str(journal.trouble)
