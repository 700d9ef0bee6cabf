"""Batches of the journal as rows: written one after the other, each chained to the one before, and read again."""

from __future__ import annotations

import heapq
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass

from logger.core.record import ChainHead
from logger.store.chain import GENESIS, batch_hash, sha256_hex
from logger.store.packing import Packable, unpack


@dataclass(frozen=True, slots=True)
class Batch:
    """One group commit as it was hashed. `hash` as stored, or as it follows from a packed stretch."""

    seq: int
    run_id: str
    content: Packable
    before: str
    hash: str

    def true_hash(self) -> str:
        """What the hash must be."""
        return chained(self.before, self.seq, self.run_id, self.content)


def chained(before: str, seq: int, run_id: str, content: Packable) -> str:
    """Hash of a batch at its place."""
    readings = sha256_hex(content.readings)
    return batch_hash(before, seq, run_id, content.at_ns, content.utc, content.events, readings)


_NEWEST = " UNION ALL ".join(
    f"SELECT * FROM (SELECT {last} AS batch, hash FROM {table} ORDER BY {key} DESC LIMIT 1)"
    for table, last, key in (
        ("batch", "seq", "seq"),
        ("stretch", "last_seq", "first_seq"),
        ("gap", "last_seq", "first_seq"),
    )
)
_HEAD = f"SELECT batch, hash FROM ({_NEWEST}) ORDER BY batch DESC LIMIT 1"


def head(connection: sqlite3.Connection) -> ChainHead:
    """The newest batch, also a lost one; the genesis of an empty journal counts as batch 0."""
    row = connection.execute(_HEAD).fetchone()
    return ChainHead(0, GENESIS) if row is None else ChainHead(*row)


def append(connection: sqlite3.Connection, run_id: str, content: Packable) -> ChainHead:
    """Write the next batch, in the caller's transaction."""
    last = head(connection)
    seq = last.batch + 1
    row_hash = chained(last.sha256, seq, run_id, content)
    connection.execute(
        "INSERT INTO batch VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (seq, run_id, content.at_ns, content.utc, content.events, content.readings, last.sha256, row_hash),
    )
    return ChainHead(seq, row_hash)


_ROWS = "SELECT seq, run_id, at_ns, utc, events, readings, before, hash FROM batch"


def batch_rows(connection: sqlite3.Connection, where: str, *values: object) -> Iterator[Batch]:
    """Batches that are not packed, oldest first."""
    rows = connection.execute(f"{_ROWS} WHERE {where} ORDER BY seq", values)
    for seq, run_id, at_ns, utc, events, readings, before, row_hash in rows:
        yield Batch(seq, run_id, Packable(at_ns, utc, events, readings), before, row_hash)


def unpacked(first_seq: int, run_id: str, before: str, packed: bytes) -> Iterator[Batch]:
    """The batches of a stretch, with the hashes that follow. Raises ValueError when it is damaged."""
    for seq, content in enumerate(unpack(packed), start=first_seq):
        row_hash = chained(before, seq, run_id, content)
        yield Batch(seq, run_id, content, before, row_hash)
        before = row_hash


def run_batches(connection: sqlite3.Connection, run_id: str) -> Iterator[Batch]:
    """All batches of a run, oldest first. Raises ValueError when a packed stretch is damaged."""
    rows = connection.execute(
        "SELECT first_seq, run_id, before, packed FROM stretch WHERE run_id = ? ORDER BY first_seq", (run_id,)
    )
    stretches = (batch for row in rows for batch in unpacked(*row))
    return heapq.merge(stretches, batch_rows(connection, "run_id = ?", run_id), key=lambda batch: batch.seq)


def last_ns(connection: sqlite3.Connection, run_id: str) -> int:
    """Bench time of the run's newest batch that is not packed, 0 when there is none."""
    row = connection.execute(
        "SELECT at_ns FROM batch WHERE run_id = ? ORDER BY seq DESC LIMIT 1", (run_id,)
    ).fetchone()
    return 0 if row is None else int(row[0])
