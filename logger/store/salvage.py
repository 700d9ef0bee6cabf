"""Carries over what can still be read from a damaged store into a new one.

Every row is read by its key, so that one bad page costs what was on it and no more. Batches keep their
numbers and hashes; what is missing between them is noted as a gap, which `verify` names for ever.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

from logger.store.batches import Batch, batch_rows, run_batches, unpacked
from logger.store.chain import GENESIS
from logger.store.errors import StoreError
from logger.store.gaps import note_gap, skip_messages
from logger.store.journal_text import begins_run
from logger.store.schema import read_only

JUMP = 10_000
"""Where the end of a table could not be read, its numbers go on at the next multiple: none is used twice."""
_BLOCK = 256
_PIECES = ("batch", "stretch", "gap")


@dataclass(slots=True)
class _Found:
    """What was carried over. `cut` says whether a table's end could not be read."""

    copied: int = 0
    cut: set[str] = field(default_factory=set)


def salvage(damaged: Path, connection: sqlite3.Connection, utc: str, reason: str) -> str:
    """Fill the new store from the damaged one; the sentence that a person must read. Raises StoreError."""
    found = _Found()
    connection.execute("PRAGMA foreign_keys = OFF")
    connection.execute("BEGIN IMMEDIATE")
    with contextlib.suppress(sqlite3.DatabaseError), closing(read_only(damaged)) as source:
        for table, key in (("meta", "rowid"), ("run", "rowid"), ("batch", "seq"), ("stretch", "first_seq"),
                           ("gap", "first_seq"), ("record", "rowid"), ("outbox", "seq")):  # fmt: skip
            _copy_table(source, connection, table, key, found)
    runs = connection.execute("SELECT run_id, number FROM run ORDER BY number").fetchall()
    dropped = [number for run_id, number in runs if _drop_unusable(connection, run_id)]
    _drop_orphans(connection)
    _note_gaps(connection, found, utc, f"the store was damaged; the file is kept as {damaged.name}")
    hurt = [number for run_id, number in runs if number not in dropped and not _whole(connection, run_id)]
    connection.execute("COMMIT")
    connection.execute("PRAGMA foreign_keys = ON")
    return _sentence(damaged, reason, len(runs) - len(dropped) - len(hurt), hurt, dropped, found)


def _copy_table(
    source: sqlite3.Connection, to: sqlite3.Connection, table: str, key: str, found: _Found
) -> None:
    columns = ", ".join(row[1] for row in to.execute(f"PRAGMA table_info({table})"))
    marks = ", ".join("?" * (columns.count(",") + 1))
    last = _last_key(source, table, key, found)
    for row in _rows(
        source, f"SELECT {columns} FROM {table} WHERE {key} BETWEEN ? AND ? ORDER BY {key}", last
    ):
        # A row that the new store refuses is one that the damage has garbled.
        with contextlib.suppress(sqlite3.Error):
            to.execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", row)
            found.copied += 1


def _last_key(source: sqlite3.Connection, table: str, key: str, found: _Found) -> int:
    """The highest key; found by steps where the end of the table cannot be read."""
    try:
        return int(source.execute(f"SELECT coalesce(max({key}), 0) FROM {table}").fetchone()[0])
    except sqlite3.DatabaseError:
        found.cut.add(table)
    last, step = 0, 1
    while step < 1 << 40:
        query = f"SELECT {key} FROM {table} WHERE {key} BETWEEN ? AND ? LIMIT 1"
        rows = _try_all(source, query, step, 1 << 62) or []
        last = max([last, *(int(row[0]) for row in rows)])
        step *= 2
    return last + JUMP


def _rows(source: sqlite3.Connection, query: str, last: int) -> Iterator[tuple[Any, ...]]:
    """Rows in blocks; a block that cannot be read as a whole is read row by row."""
    for first in range(1, last + 1, _BLOCK):
        block = _try_all(source, query, first, first + _BLOCK - 1)
        if block is not None:
            yield from block
            continue
        for one in range(first, first + _BLOCK):
            yield from _try_all(source, query, one, one) or []


def _try_all(source: sqlite3.Connection, query: str, first: int, last: int) -> list[tuple[Any, ...]] | None:
    try:
        return source.execute(query, (first, last)).fetchall()
    except sqlite3.Error:
        return None


def _whole(connection: sqlite3.Connection, run_id: str) -> bool:
    """Every batch from the run's first to its last is there and fits its hash."""
    try:
        batches = list(run_batches(connection, run_id))
    except ValueError:
        return False
    fits = all(batch.true_hash() == batch.hash for batch in batches)
    follows = all(b.before == a.hash for a, b in pairwise(batches) if b.seq == a.seq + 1)
    gaps = connection.execute("SELECT first_seq, last_seq FROM gap").fetchall()
    inside = [1 for first, last in gaps if batches and first <= batches[-1].seq and last >= batches[0].seq]
    return bool(batches) and fits and follows and not inside and begins_run(batches[0].content.events)


def _drop_unusable(connection: sqlite3.Connection, run_id: str) -> bool:
    """A run without a record of which the beginning is lost tells nothing; a garbled stretch neither."""
    for first, before, packed in connection.execute(
        "SELECT first_seq, before, packed FROM stretch WHERE run_id = ?", (run_id,)
    ).fetchall():
        try:
            list(unpacked(first, run_id, before, packed))
        except ValueError:
            connection.execute("DELETE FROM stretch WHERE first_seq = ?", (first,))
    if connection.execute("SELECT 1 FROM record WHERE run_id = ?", (run_id,)).fetchone():
        return False
    batches: list[Batch] = list(batch_rows(connection, "run_id = ?", run_id))
    if batches and begins_run(batches[0].content.events):
        return False
    connection.execute("DELETE FROM run WHERE run_id = ?", (run_id,))
    return True


def _drop_orphans(connection: sqlite3.Connection) -> None:
    for table in ("batch", "stretch", "record"):
        connection.execute(f"DELETE FROM {table} WHERE run_id NOT IN (SELECT run_id FROM run)")


def _note_gaps(connection: sqlite3.Connection, found: _Found, utc: str, reason: str) -> None:
    """Every number that is missing in the chain and in the outbox, and a jump where an end was lost."""
    pieces = connection.execute(
        "SELECT seq, seq, before, hash FROM batch UNION ALL SELECT first_seq, last_seq, before, hash FROM stretch "
        "UNION ALL SELECT first_seq, last_seq, '', hash FROM gap ORDER BY 1"
    ).fetchall()
    next_seq, sha256 = 1, GENESIS
    for first, last, before, end in pieces:
        sha256 = end
        if first > next_seq:
            note_gap(connection, next_seq, first - 1, before, utc, reason)
        next_seq = last + 1
    if found.cut.intersection(_PIECES):
        note_gap(connection, next_seq, _jumped(next_seq), sha256, utc, reason)
    if "outbox" in found.cut:
        last_seq = connection.execute("SELECT coalesce(max(seq), 0) FROM outbox").fetchone()[0]
        skip_messages(connection, _jumped(last_seq), utc, reason)


def _jumped(number: int) -> int:
    return (number // JUMP + 1) * JUMP


def _sentence(
    damaged: Path, reason: str, whole: int, hurt: list[int], dropped: list[int], found: _Found
) -> str:
    if not damaged.exists():
        raise StoreError(f"{damaged} is gone.")
    parts = [
        f"{reason} It was set aside as {damaged.name} and a new store was begun; {whole} runs were carried over whole."
    ]
    if hurt:
        parts.append(f"Runs that lost some of their readings or events: {_numbers(hurt)}.")
    if dropped:
        parts.append(f"Runs that could not be read: {_numbers(dropped)}.")
    if "run" in found.cut or not found.copied:
        parts.append("Runs beyond those could not be found.")
    return " ".join([*parts, "Restore a backup if you have one, and have the disk checked."])


def _numbers(runs: list[int]) -> str:
    shown = ", ".join(map(str, runs[:20]))
    return f"{shown} and {len(runs) - 20} more" if len(runs) > 20 else shown
