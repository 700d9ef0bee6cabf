"""Carries over what can still be trusted from a damaged store into a new one.

Batches, records and messages keep their numbers and hashes; a row that does not fit its own hash is left
behind. What is missing between them is noted, and `verify` names it for ever.
"""

from __future__ import annotations

import contextlib
import sqlite3
from contextlib import closing
from itertools import pairwise
from pathlib import Path

from logger.store.batches import Batch, run_batches
from logger.store.chain import GENESIS
from logger.store.gaps import SALVAGED, note_gap, skip_messages
from logger.store.journal_text import events_of, run_columns
from logger.store.salvage_rows import JUMP, TABLES, copy_table
from logger.store.schema import read_only

_CHAINED = {"batch", "stretch", "gap"}


def salvage(damaged: Path, connection: sqlite3.Connection, utc: str, reason: str) -> str:
    """Fill the new store from the damaged one; gives the sentence that a person must read."""
    copied, cut = 0, set()
    connection.execute("PRAGMA foreign_keys = OFF")
    connection.execute("BEGIN IMMEDIATE")
    with contextlib.suppress(sqlite3.DatabaseError), closing(read_only(damaged)) as source:
        source.text_factory = _text
        for table in TABLES:
            rows, doubtful = copy_table(source, connection, table)
            copied += rows
            cut |= {table.name} if doubtful else set()
    listed = _numbers(connection)
    _mend_runs(connection)
    kept = _numbers(connection)
    why = f"the store was damaged; the file is kept as {damaged.name}"
    connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (SALVAGED, f"{why} ({utc})"))
    _note_gaps(connection, bool(cut & _CHAINED), utc, why)
    _note_messages(connection, "outbox" in cut, utc, why)
    hurt = {number for run_id, number in kept.items() if not _whole(connection, run_id)}
    connection.execute("COMMIT")
    connection.execute("PRAGMA foreign_keys = ON")
    gone = sorted(set(listed.values()) - set(kept.values()))
    unknown = "run" in cut or not copied
    return _sentence(damaged, reason, len(kept) - len(hurt), sorted(hurt), gone, unknown)


def _text(data: bytes) -> str:
    return data.decode("utf-8", "replace")


def _numbers(connection: sqlite3.Connection) -> dict[str, int]:
    return dict(connection.execute("SELECT run_id, number FROM run").fetchall())


def _mend_runs(connection: sqlite3.Connection) -> None:
    """Lines of the history from the plans in the journal; runs of which nothing can be told are dropped."""
    last = 0
    ids = connection.execute(
        "SELECT run_id, min(seq) FROM (SELECT run_id, seq FROM batch UNION ALL "
        "SELECT run_id, first_seq FROM stretch) GROUP BY run_id ORDER BY 2"
    ).fetchall()
    for run_id, _ in ids:
        first = next(run_batches(connection, run_id))
        number = _mend_run(connection, first, last + 1)
        last = max(last, number)
    connection.execute(
        "DELETE FROM run WHERE run_id NOT IN (SELECT run_id FROM batch UNION SELECT run_id FROM stretch "
        "UNION SELECT run_id FROM record)"
    )
    for table in ("batch", "stretch", "record"):
        connection.execute(f"DELETE FROM {table} WHERE run_id NOT IN (SELECT run_id FROM run)")


def _mend_run(connection: sqlite3.Connection, first: Batch, number: int) -> int:
    """The run's number. Its line is written from its plan; without plan and record it is dropped."""
    row = connection.execute("SELECT number FROM run WHERE run_id = ?", (first.run_id,)).fetchone()
    plan = _plan(first)
    if plan is None:
        if not connection.execute("SELECT 1 FROM record WHERE run_id = ?", (first.run_id,)).fetchone():
            connection.execute("DELETE FROM run WHERE run_id = ?", (first.run_id,))
        return 0 if row is None else int(row[0])
    if row is not None:
        number = int(row[0])
    elif connection.execute("SELECT 1 FROM run WHERE number = ?", (number,)).fetchone():
        return 0
    connection.execute("DELETE FROM run WHERE run_id = ?", (first.run_id,))
    connection.execute("INSERT INTO run VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0)", (first.run_id, number, *plan))
    return number


def _plan(first: Batch) -> tuple[str | int, ...] | None:
    try:
        event = events_of(first.content.events)[0]
        return (*run_columns(event.data), event.utc)
    except (ValueError, KeyError, TypeError, IndexError):
        return None


def _whole(connection: sqlite3.Connection, run_id: str) -> bool:
    """Every batch from the run's first to its last is there, and its record when it ended."""
    batches = list(run_batches(connection, run_id))
    gaps = connection.execute("SELECT first_seq, last_seq FROM gap").fetchall()
    inside = any(first <= batches[-1].seq + 1 and last >= batches[0].seq for first, last in gaps if batches)
    follows = all(b.before == a.hash for a, b in pairwise(batches) if b.seq == a.seq + 1)
    issued = any("record_issued" in batch.content.events for batch in batches)
    record = connection.execute("SELECT 1 FROM record WHERE run_id = ?", (run_id,)).fetchone()
    return (
        bool(batches)
        and _plan(batches[0]) is not None
        and follows
        and not inside
        and (not issued or bool(record))
    )


def _note_gaps(connection: sqlite3.Connection, cut: bool, utc: str, reason: str) -> None:
    """Every number that is missing in the chain, and a jump where its end was lost."""
    pieces = connection.execute(
        "SELECT seq, seq, before, hash FROM batch UNION ALL SELECT first_seq, last_seq, before, hash FROM stretch "
        "UNION ALL SELECT first_seq, last_seq, '', hash FROM gap ORDER BY 1"
    ).fetchall()
    next_seq, sha256 = 1, GENESIS
    for first, last, before, end in pieces:
        if first > next_seq:
            note_gap(connection, next_seq, first - 1, before, utc, reason)
        next_seq, sha256 = last + 1, end
    if cut:
        note_gap(connection, next_seq, _jumped(next_seq), sha256, utc, reason)


def _note_messages(connection: sqlite3.Connection, cut: bool, utc: str, reason: str) -> None:
    seqs = [seq for (seq,) in connection.execute("SELECT seq FROM outbox ORDER BY seq")]
    for before, seq in pairwise([0, *seqs]):
        if seq > before + 1:
            skip_messages(connection, seq - 1, utc, reason)
    if cut:
        skip_messages(connection, _jumped(seqs[-1] if seqs else 0), utc, reason)


def _jumped(number: int) -> int:
    return (number // JUMP + 1) * JUMP


def _sentence(damaged: Path, reason: str, whole: int, hurt: list[int], gone: list[int], unknown: bool) -> str:
    parts = [
        f"{reason} It was set aside as {damaged.name} and a new store was begun; "
        f"{whole} runs were carried over whole."
    ]
    if hurt:
        parts.append(f"Runs that lost some of their readings or events: {_listed(hurt)}.")
    if gone:
        parts.append(f"Runs that could not be read: {_listed(gone)}.")
    if unknown:
        parts.append("Further runs may be lost that could not be found.")
    return " ".join([*parts, "Restore a backup if you have one, and have the disk checked."])


def _listed(runs: list[int]) -> str:
    shown = ", ".join(map(str, runs[:20]))
    return f"{shown} and {len(runs) - 20} more" if len(runs) > 20 else shown
