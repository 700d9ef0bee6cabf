"""Packs the batches of finished runs. Unpacking gives the very bytes that were hashed, batch by batch."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from logger.store.batches import Batch, batch_rows, head
from logger.store.packing import MOST_BATCHES, pack

LEAST_BATCHES = 8
"""A shorter row of batches stays as it is."""
MARK_BYTES = 2


@dataclass(frozen=True, slots=True)
class Stretch:
    """A packed row of batches, as it is stored."""

    first_seq: int
    last_seq: int
    run_id: str
    before: str
    hash: str
    marks: bytes
    packed: bytes


def pack_run(connection: sqlite3.Connection, run_id: str) -> list[Stretch]:
    """The run's batches as stretches, for `store_stretches`. Slow: not for the writer's thread.

    The newest batch of the store stays as it is. Raises ValueError when a batch does not come back.
    """
    newest = head(connection).batch
    rows = batch_rows(connection, "run_id = ? AND seq < ?", run_id, newest)
    return [_stretch(row) for row in _rows_of_neighbours(rows) if len(row) >= LEAST_BATCHES]


def store_stretches(connection: sqlite3.Connection, run_id: str, stretches: Sequence[Stretch]) -> None:
    """Put the stretches in place of their batches, in the caller's transaction. Twice changes nothing."""
    for s in stretches:
        gone = connection.execute(
            "DELETE FROM batch WHERE run_id = ? AND seq BETWEEN ? AND ?", (run_id, s.first_seq, s.last_seq)
        ).rowcount
        if gone == 0:
            continue
        if gone != s.last_seq - s.first_seq + 1:
            raise ValueError(f"batches {s.first_seq} to {s.last_seq} changed while they were packed")
        connection.execute(
            "INSERT INTO stretch VALUES (?, ?, ?, ?, ?, ?, ?)",
            (s.first_seq, s.last_seq, run_id, s.before, s.hash, s.marks, s.packed),
        )
    connection.execute("UPDATE run SET packed = 1 WHERE run_id = ?", (run_id,))


def unpacked_runs(connection: sqlite3.Connection) -> list[str]:
    """Runs with a record whose batches were never packed, oldest first."""
    rows = connection.execute(
        "SELECT run_id FROM run WHERE packed = 0 AND EXISTS "
        "(SELECT 1 FROM record WHERE record.run_id = run.run_id) ORDER BY number"
    )
    return [run_id for (run_id,) in rows]


def _rows_of_neighbours(batches: Iterator[Batch]) -> Iterator[list[Batch]]:
    row: list[Batch] = []
    for batch in batches:
        if row and (batch.seq != row[-1].seq + 1 or len(row) == MOST_BATCHES):
            yield row
            row = []
        row.append(batch)
    if row:
        yield row


def _stretch(row: Sequence[Batch]) -> Stretch:
    return Stretch(
        first_seq=row[0].seq,
        last_seq=row[-1].seq,
        run_id=row[0].run_id,
        before=row[0].before,
        hash=row[-1].hash,
        marks=b"".join(bytes.fromhex(batch.hash)[:MARK_BYTES] for batch in row),
        packed=pack([batch.content for batch in row]),
    )
