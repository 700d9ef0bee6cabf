"""Reading the store: lists, one run. Opens the file read-only and for a short time."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from logger.core.readings import Reading
from logger.core.run.events import Event
from logger.core.run_list import RunLine
from logger.store.batches import run_batches
from logger.store.errors import DamagedRunError, StoreError, as_store_error
from logger.store.journal_text import events_of
from logger.store.readings_codec import decode
from logger.store.run_lines import LINES, line_of
from logger.store.schema import VERSION, found_version, read_only

_LAST = chr(0x10FFFF)
"""Sorts behind every character of an id."""


@contextmanager
def reading(path: Path) -> Iterator[sqlite3.Connection]:
    """A read-only connection that sees one moment of the store. Raises StoreError."""
    if not path.exists():
        raise StoreError(
            f"{path}: there is no store yet; start a run first, or name another folder with --data."
        )
    try:
        with closing(read_only(path)) as connection:
            if found_version(connection, path) < VERSION:
                raise StoreError(
                    f"{path} has an older format: start the service once, which brings it up to date."
                )
            connection.execute("BEGIN")
            yield connection
    except sqlite3.Error as error:
        raise as_store_error(path, error) from error


def list_runs(connection: sqlite3.Connection, limit: int) -> list[RunLine]:
    """Newest first."""
    rows = connection.execute(f"{LINES} ORDER BY run.number DESC LIMIT ?", (limit,))
    return [line_of(row) for row in rows]


def find_run(connection: sqlite3.Connection, which: str) -> RunLine:
    """By number, or by the beginning of its id. Raises StoreError when none or several fit."""
    by_number = which.isascii() and which.isdigit() and len(which) < 8
    where = "run.number = ?" if by_number else "run.run_id BETWEEN ? AND ?"
    values: tuple[Any, ...] = (int(which),) if by_number else (which, which + _LAST)
    found = connection.execute(f"{LINES} WHERE {where} LIMIT 2", values).fetchall() if which else []
    if not found:
        raise StoreError(f"There is no run {which}; `lastgrain runs list` shows them.")
    if len(found) > 1:
        raise StoreError(f"Several runs begin with {which}: give more of the id.")
    return line_of(found[0])


def record_body(connection: sqlite3.Connection, run_id: str) -> dict[str, Any] | None:
    """The newest revision of the record; None while there is none."""
    row = connection.execute(
        "SELECT body FROM record WHERE run_id = ? ORDER BY revision DESC LIMIT 1", (run_id,)
    ).fetchone()
    return None if row is None else json.loads(row[0])


def record_texts(connection: sqlite3.Connection, run_id: str) -> list[tuple[int, str]]:
    """Every revision of the record as it was hashed, oldest first."""
    return connection.execute(
        "SELECT revision, body FROM record WHERE run_id = ? ORDER BY revision", (run_id,)
    ).fetchall()


def run_events(connection: sqlite3.Connection, run_id: str) -> list[Event]:
    """All events of a run in order. Raises DamagedRunError."""
    try:
        return [
            event for batch in run_batches(connection, run_id) for event in events_of(batch.content.events)
        ]
    except (ValueError, KeyError, TypeError) as error:
        raise _unreadable(run_id, error) from None


def run_readings(connection: sqlite3.Connection, run_id: str) -> list[Reading]:
    """All readings of a run in order. Raises DamagedRunError."""
    try:
        return [
            reading for batch in run_batches(connection, run_id) for reading in decode(batch.content.readings)
        ]
    except (ValueError, KeyError) as error:
        raise _unreadable(run_id, error) from None


def thinned_readings(connection: sqlite3.Connection, run_id: str, most: int) -> list[Reading]:
    """Readings of a run in order, every so manyth of each instrument, so that a long run stays cheap to show.

    Raises DamagedRunError.
    """
    try:
        lines = [
            line
            for batch in run_batches(connection, run_id)
            for line in batch.content.readings.decode().split("\n")
            if line
        ]
        kept = [*_every(lines, "m", most), *_every(lines, "p", most)]
        return sorted((one for line in kept for one in decode(line.encode())), key=lambda one: one.at_ns)
    except (ValueError, KeyError) as error:
        raise _unreadable(run_id, error) from None


def _every(lines: Sequence[str], channel: str, most: int) -> Sequence[str]:
    """At most about `most` lines of one instrument, evenly spaced."""
    own = [line for line in lines if line.startswith(channel)]
    return own[:: max(1, -(-len(own) // most))]


def _unreadable(run_id: str, error: Exception) -> DamagedRunError:
    return DamagedRunError(
        f"The journal of run {run_id} is damaged ({error}): `lastgrain runs verify` names the place; "
        "look for the run in a backup."
    )


def runs_without_record(connection: sqlite3.Connection) -> list[str]:
    """Runs that a crash left open or unrecorded, oldest first."""
    rows = connection.execute(
        "SELECT run_id FROM run WHERE packed = 0 AND NOT EXISTS "
        "(SELECT 1 FROM record WHERE record.run_id = run.run_id) ORDER BY number"
    )
    return [run_id for (run_id,) in rows]
