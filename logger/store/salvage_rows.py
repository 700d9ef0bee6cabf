"""Reads a damaged store row by row, by key, so that one bad page costs what was on it and no more."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from logger.core.run.plan import sha256_json
from logger.store.batches import Batch, unpacked
from logger.store.chain import entry_hash, sha256_hex
from logger.store.packing import Packable

JUMP = 10_000
"""Where the end of a table could not be read, its numbers go on at the next multiple: none is used twice."""
_BLOCK = 256
Row = Sequence[Any]


@dataclass(frozen=True, slots=True)
class Table:
    """A table to carry over: its whole-number key, its columns, and whether a row is what was written."""

    name: str
    key: str
    columns: str
    fits: Callable[[Row], bool]

    @property
    def query(self) -> str:
        """Rows of a range of keys."""
        return f"SELECT {self.columns} FROM {self.name} WHERE {self.key} BETWEEN ? AND ? ORDER BY {self.key}"


def _batch_fits(row: Row) -> bool:
    seq, run_id, at_ns, utc, events, readings, before, sha256 = row
    batch = Batch(seq, run_id, Packable(at_ns, utc, events, readings), before, sha256)
    return bool(batch.true_hash() == sha256)


def _stretch_fits(row: Row) -> bool:
    first, last, run_id, before, sha256, _, packed = row
    rows = list(unpacked(first, run_id, before, packed))
    return bool(rows) and rows[-1].seq == last and rows[-1].hash == sha256


def _record_fits(row: Row) -> bool:
    plain = json.loads(row[4])
    return bool(plain.pop("record_sha256") == sha256_json(plain))


def _message_fits(row: Row) -> bool:
    return bool(sha256_hex(row[5].encode()) == row[6])


def _entry_fits(row: Row) -> bool:
    seq, entry, before, sha256 = row
    return bool(entry_hash(before, seq, entry) == sha256)


def _any_fits(row: Row) -> bool:
    return True


TABLES = (
    Table("meta", "rowid", "key, value", _any_fits),
    Table(
        "run",
        "rowid",
        "run_id, number, sample_id, operator_id, lot, method_id, method_revision, started_at, packed",
        _any_fits,
    ),
    Table("batch", "seq", "seq, run_id, at_ns, utc, events, readings, before, hash", _batch_fits),
    Table("stretch", "first_seq", "first_seq, last_seq, run_id, before, hash, marks, packed", _stretch_fits),
    Table("gap", "first_seq", "first_seq, last_seq, hash, noticed_at, reason", _any_fits),
    Table("record", "rowid", "run_id, revision, outcome, residue_pct, body", _record_fits),
    Table("register", "seq", "seq, entry, before, hash", _entry_fits),
    Table("secret", "entry", "entry, person_id, encoded", _any_fits),
    Table("attempt", "rowid", "person_id, failures, failed_at", _any_fits),
    Table(
        "outbox",
        "seq",
        "seq, message_id, kind, run_id, created_at, body, body_sha256, attempts, last_failure, sent_at, set_aside",
        _message_fits,
    ),
)


def copy_table(source: sqlite3.Connection, to: sqlite3.Connection, table: Table) -> tuple[int, bool]:
    """Copy what can be read and fits. Gives how many rows, and whether the table's end was in doubt."""
    last, cut = _last_key(source, table)
    marks = ", ".join("?" * (table.columns.count(",") + 1))
    insert = f"INSERT INTO {table.name} ({table.columns}) VALUES ({marks})"
    copied = 0
    for row in _rows(source, table.query, last):
        # A row that does not fit its hash, or that the new store refuses, was garbled by the damage.
        with contextlib.suppress(sqlite3.Error, ValueError, KeyError, TypeError, AttributeError):
            if table.fits(row):
                to.execute(insert, row)
                copied += 1
    return copied, cut


def _last_key(source: sqlite3.Connection, table: Table) -> tuple[int, bool]:
    """The highest key; searched upwards in steps where the end of the table cannot be read."""
    try:
        found = source.execute(f"SELECT coalesce(max({table.key}), 0) FROM {table.name}").fetchone()[0]
        return int(found), False
    except (sqlite3.Error, ValueError, TypeError):
        pass
    last, step = 0, 1
    while step < 1 << 40:
        query = f"SELECT {table.key} FROM {table.name} WHERE {table.key} BETWEEN ? AND ? LIMIT 1"
        last = max([last, *(int(row[0]) for row in _try(source, query, step, 1 << 40) or [])])
        step *= 2
    return (last + JUMP if last else 0), True


def _rows(source: sqlite3.Connection, query: str, last: int) -> Iterator[Row]:
    """Rows in blocks; a block that cannot be read as a whole is read row by row."""
    for first in range(1, last + 1, _BLOCK):
        block = _try(source, query, first, first + _BLOCK - 1)
        if block is not None:
            yield from block
            continue
        for one in range(first, first + _BLOCK):
            yield from _try(source, query, one, one) or []


def _try(source: sqlite3.Connection, query: str, first: int, last: int) -> list[Row] | None:
    try:
        return source.execute(query, (first, last)).fetchall()
    except (sqlite3.Error, ValueError):
        return None
