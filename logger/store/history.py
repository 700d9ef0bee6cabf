"""Reading the store: lists, one run, recovery. Opens the file read-only and for a short time."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logger.core.readings import Reading
from logger.core.run.events import Event
from logger.store.archive import run_blobs
from logger.store.errors import StoreError
from logger.store.journal import events_of
from logger.store.readings_codec import decode


@dataclass(frozen=True, slots=True)
class RunRow:
    """One line of the history. `outcome` is empty for a run that has no record yet."""

    number: int
    run_id: str
    started_at: str
    sample_id: str
    lot: str
    operator_id: str
    method_id: str
    method_revision: int
    outcome: str
    residue_pct: float | None


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A read-only connection. Raises StoreError when there is no store at `path`."""
    if not path.exists():
        raise StoreError(
            f"{path}: there is no store yet; start a run first, or name another folder with --data."
        )
    try:
        with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
            connection.execute("PRAGMA busy_timeout = 5000")
            yield connection
    except sqlite3.Error as error:
        raise StoreError(f"{path} cannot be read: {error}.") from error


_LIST = """
SELECT run.number, run.run_id, run.started_at, run.sample_id, run.lot, run.operator_id, run.method_id,
       run.method_revision, coalesce(record.outcome, ''), record.residue_pct
FROM run LEFT JOIN record ON record.run_id = run.run_id
  AND record.revision = (SELECT max(revision) FROM record WHERE run_id = run.run_id)
"""


def list_runs(connection: sqlite3.Connection, limit: int) -> list[RunRow]:
    """Newest first."""
    rows = connection.execute(f"{_LIST} ORDER BY run.number DESC LIMIT ?", (limit,))
    return [RunRow(*row) for row in rows]


def find_run(connection: sqlite3.Connection, which: str) -> RunRow:
    """By number, or by the beginning of its id. Raises StoreError when none or several fit."""
    column = (
        "CAST(run.number AS TEXT) = ?1" if which.isdigit() and len(which) < 8 else "run.run_id LIKE ?1 || '%'"
    )
    found = connection.execute(f"{_LIST} WHERE {column} LIMIT 2", (which,)).fetchall()
    if not found:
        raise StoreError(f"There is no run {which}; `lastgrain runs list` shows them.")
    if len(found) > 1:
        raise StoreError(f"Several runs begin with {which}: give more of the id.")
    return RunRow(*found[0])


def record_body(connection: sqlite3.Connection, run_id: str) -> dict[str, Any] | None:
    """The newest revision of the record; None while there is none."""
    row = connection.execute(
        "SELECT body FROM record WHERE run_id = ? ORDER BY revision DESC LIMIT 1", (run_id,)
    ).fetchone()
    return None if row is None else json.loads(row[0])


def run_events(connection: sqlite3.Connection, run_id: str) -> list[Event]:
    """All events of a run in order."""
    rows = connection.execute("SELECT events FROM batch WHERE run_id = ? ORDER BY seq", (run_id,))
    return [event for (text,) in rows for event in events_of(text)]


def run_readings(connection: sqlite3.Connection, run_id: str) -> list[Reading]:
    """All readings of a run in order, unpacked where they were archived."""
    return [reading for blob in run_blobs(connection, run_id) for reading in decode(blob)]


def runs_without_record(connection: sqlite3.Connection) -> list[str]:
    """Runs that a crash left open or unrecorded, oldest first."""
    rows = connection.execute(
        "SELECT run_id FROM run WHERE NOT EXISTS (SELECT 1 FROM record WHERE record.run_id = run.run_id) "
        "ORDER BY number"
    )
    return [run_id for (run_id,) in rows]
