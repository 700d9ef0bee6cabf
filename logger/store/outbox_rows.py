"""Rows of the outbox. The sequence number is the row's key: gap-free per bench, never reused."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from typing import Any

from logger.core.ports import MessageKind, OutboxItem
from logger.core.run.plan import canonical_json
from logger.store.chain import sha256_hex

_COLUMNS = "seq, message_id, kind, created_at, body, body_sha256, attempts"


def add_message(
    connection: sqlite3.Connection,
    message_id: str,
    kind: MessageKind,
    run_id: str,
    created_at: str,
    body: dict[str, Any],
) -> None:
    """Queue one message, in the caller's transaction."""
    text = canonical_json(body)
    connection.execute(
        "INSERT INTO outbox (seq, message_id, kind, run_id, created_at, body, body_sha256) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        (last_seq(connection) + 1, message_id, kind, run_id, created_at, text, sha256_hex(text.encode())),
    )


def unsent(connection: sqlite3.Connection, most: int, most_bytes: int) -> list[OutboxItem]:
    """The oldest that are neither sent nor set aside, bounded by count and stored text; always the oldest."""
    query = f"SELECT {_COLUMNS} FROM outbox WHERE sent_at IS NULL AND set_aside IS NULL ORDER BY seq LIMIT ?"
    items: list[OutboxItem] = []
    with closing(connection.execute(query, (most,))) as rows:
        for row in rows:
            most_bytes -= len(row[4].encode())
            if items and most_bytes < 0:
                break
            items.append(_item_of(row))
    return items


def newest_record(connection: sqlite3.Connection) -> OutboxItem | None:
    """The record of the newest run in its newest revision, sent or not."""
    return _item(
        connection,
        "WHERE kind = 'record' AND run_id = "
        "(SELECT run.run_id FROM run JOIN record USING (run_id) ORDER BY run.number DESC LIMIT 1) "
        "ORDER BY seq DESC LIMIT 1",
    )


def record_after(connection: sqlite3.Connection, seq: int) -> OutboxItem | None:
    """The oldest record with a higher seq, sent or not."""
    return _item(connection, f"WHERE kind = 'record' AND seq > {int(seq)} ORDER BY seq LIMIT 1")


def last_seq(connection: sqlite3.Connection) -> int:
    """The highest seq ever handed out, 0 before the first."""
    return int(connection.execute("SELECT coalesce(max(seq), 0) FROM outbox").fetchone()[0])


def _item(connection: sqlite3.Connection, where: str) -> OutboxItem | None:
    row = connection.execute(f"SELECT {_COLUMNS} FROM outbox {where}").fetchone()
    return None if row is None else _item_of(row)


def _item_of(row: tuple[Any, ...]) -> OutboxItem:
    seq, message_id, kind, created_at, body, body_sha256, attempts = row
    return OutboxItem(
        seq=seq,
        message_id=message_id,
        kind=kind,
        created_at=created_at,
        body=json.loads(body) if sha256_hex(body.encode()) == body_sha256 else {},
        attempts=attempts,
    )


def mark_sent(connection: sqlite3.Connection, seqs: Sequence[int], sent_at: str) -> None:
    """The broker acknowledged these."""
    connection.executemany("UPDATE outbox SET sent_at = ? WHERE seq = ?", [(sent_at, seq) for seq in seqs])


def note_failure(connection: sqlite3.Connection, seq: int, reason: str) -> None:
    """One more attempt failed."""
    connection.execute(
        "UPDATE outbox SET attempts = attempts + 1, last_failure = ? WHERE seq = ?", (reason, seq)
    )


def set_aside(connection: sqlite3.Connection, seq: int, reason: str) -> None:
    """Never retried; kept and shown."""
    connection.execute("UPDATE outbox SET set_aside = ? WHERE seq = ?", (reason, seq))


def send_again(connection: sqlite3.Connection, where: str, *values: object) -> int:
    """What was sent or set aside goes out once more, under its own number and id. How many messages.

    A placeholder of a lost message stays: nothing is left to send.
    """
    done = connection.execute(
        "UPDATE outbox SET sent_at = NULL, set_aside = NULL, attempts = 0 WHERE run_id <> '' "
        f"AND (sent_at IS NOT NULL OR set_aside IS NOT NULL) AND {where}",
        values,
    )
    return done.rowcount


def waiting(connection: sqlite3.Connection) -> tuple[int, int]:
    """How many wait, and how many are set aside."""
    open_ = connection.execute(
        "SELECT count(*) FROM outbox WHERE sent_at IS NULL AND set_aside IS NULL"
    ).fetchone()[0]
    aside = connection.execute("SELECT count(*) FROM outbox WHERE set_aside IS NOT NULL").fetchone()[0]
    return int(open_), int(aside)
