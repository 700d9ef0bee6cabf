"""Batches and messages that are known to be lost: noted in the store, and their numbers never given out again."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from logger.store.batches import head, unpacked
from logger.store.chain import sha256_hex
from logger.store.head_file import Noted, read_head_file
from logger.store.outbox_rows import last_seq

LOST = "lost: "
"""How the reason begins for a message of which nothing is left but its number."""

SALVAGED = "salvaged"
"""Key in `meta` whose value says why rows may be missing."""


def close_gap(connection: sqlite3.Connection, path: Path, utc: str) -> list[str]:
    """Compare with the head noted beside the store. What is missing is noted as a gap; gives sentences."""
    noted = read_head_file(path)
    if noted is None:
        return []
    now = head(connection)
    if noted.head.batch > now.batch:
        return [_missing_tail(connection, path, utc, noted, now.batch)]
    known = hash_at(connection, noted.head.batch)
    if known is not None and known != noted.head.sha256:
        return [
            f"{path} is not the store that was here before: batch {noted.head.batch} has another hash. "
            "Check with `lastgrain runs verify --head` and a head that was kept elsewhere."
        ]
    return []


def _missing_tail(connection: sqlite3.Connection, path: Path, utc: str, noted: Noted, last: int) -> str:
    reason = "an older copy was put in place, or the file ending in -wal was deleted"
    connection.execute("BEGIN IMMEDIATE")
    note_gap(connection, last + 1, noted.head.batch, noted.head.sha256, utc, reason)
    if noted.outbox > last_seq(connection):
        skip_messages(connection, noted.outbox, utc, reason)
    connection.execute("COMMIT")
    return (
        f"{path} lacks batches {last + 1} to {noted.head.batch}, which it had before: {reason}. "
        "Readings and events in them are lost unless a backup has them; `lastgrain runs verify` shows the place."
    )


def hash_at(connection: sqlite3.Connection, batch: int) -> str | None:
    """The hash of a batch, also inside a packed stretch; None when it is not there or cannot be read."""
    for query in (
        "SELECT hash FROM batch WHERE seq = ?",
        "SELECT hash FROM stretch WHERE last_seq = ?",
        "SELECT hash FROM gap WHERE last_seq = ?",
    ):
        row = connection.execute(query, (batch,)).fetchone()
        if row is not None:
            return str(row[0])
    return _packed_hash(connection, batch)


def _packed_hash(connection: sqlite3.Connection, batch: int) -> str | None:
    row = connection.execute(
        "SELECT first_seq, run_id, before, packed FROM stretch WHERE first_seq <= ?1 AND last_seq >= ?1 "
        "ORDER BY first_seq DESC LIMIT 1",
        (batch,),
    ).fetchone()
    try:
        return next((one.hash for one in unpacked(*row) if one.seq == batch), None) if row else None
    except ValueError:
        return None


def note_gap(
    connection: sqlite3.Connection, first: int, last: int, sha256: str, utc: str, reason: str
) -> None:
    """Batches `first` to `last` are lost; the chain goes on from `sha256`, '' when that is lost too."""
    connection.execute("INSERT INTO gap VALUES (?, ?, ?, ?, ?)", (first, last, sha256, utc, reason))


def skip_messages(connection: sqlite3.Connection, up_to: int, utc: str, reason: str) -> None:
    """Numbers of the outbox before and at `up_to` are gone: one message, set aside, holds their place."""
    if connection.execute("SELECT 1 FROM outbox WHERE seq = ?", (up_to,)).fetchone() is None:
        connection.execute(
            "INSERT INTO outbox (seq, message_id, kind, run_id, created_at, body, body_sha256, set_aside) "
            "VALUES (?, ?, 'event', '', ?, '{}', ?, ?)",
            (up_to, f"lost-{up_to}", utc, sha256_hex(b"{}"), LOST + reason),
        )
