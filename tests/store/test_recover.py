"""What a crash left undone is done at the next start; one damaged run stops nothing else."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from logger.store import history
from logger.store.archive import unpacked_runs
from logger.store.errors import DamagedRunError
from logger.store.recover import REASON, close_open_runs
from tests.store.quick_runs import findings, keep, open_journal, open_run, reading_of, short_run


def crashed(path: Path) -> None:
    """One whole run, one run that has ended but has no record, one open, one with a record but not packed."""
    journal = open_journal(path)
    keep(journal, short_run(1))
    keep(journal, short_run(2), pack=False)
    ended = short_run(3)
    journal.start_run(ended.run_id, ended.events[0]).result()
    journal.add(ended.run_id, ended.events[1:], ended.readings)
    still = open_run(4)
    journal.start_run(still.run_id, still.events[0]).result()
    for place in range(12):
        journal.add(still.run_id, [], [reading_of(4, place)])
        journal.flush().result()
    journal.close()


def test_open_runs_end_as_interrupted_with_a_record_for_the_plant(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    crashed(path)
    journal = open_journal(path)
    assert close_open_runs(journal, path) == [short_run(3).run_id, open_run(4).run_id]
    journal.archive(open_run(4).run_id).result()
    journal.close()
    with history.reading(path) as connection:
        outcomes = {row.number: row.outcome for row in history.list_runs(connection, 9)}
        body = history.record_body(connection, open_run(4).run_id)
        assert unpacked_runs(connection) == []
        sent = connection.execute("SELECT count(*) FROM outbox WHERE kind = 'record'").fetchone()[0]
    assert outcomes == {1: "aborted", 2: "aborted", 3: "aborted", 4: "interrupted"}
    assert body is not None
    assert (body["result"], body["reason"]) == (None, REASON)
    assert sent == 4
    assert [finding.verdict for finding in findings(path)] == ["no-outside-head"]


def test_a_second_start_finds_nothing_to_do(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    crashed(path)
    for expected in (2, 0):
        journal = open_journal(path)
        assert len(close_open_runs(journal, path)) == expected
        journal.close()


def test_a_run_that_cannot_be_read_is_named_and_the_others_are_closed(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    crashed(path)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(
            "UPDATE batch SET events = '[{]' WHERE seq = (SELECT min(seq) FROM batch WHERE run_id = ?)",
            (short_run(3).run_id,),
        )
        connection.commit()
    journal = open_journal(path)
    assert close_open_runs(journal, path) == [open_run(4).run_id]
    journal.close()
    assert len(journal.notices) == 1
    assert f"Run {short_run(3).run_id} was left open and cannot be closed" in journal.notices[0]
    with history.reading(path) as connection, pytest.raises(DamagedRunError, match="runs verify"):
        history.run_events(connection, short_run(3).run_id)
