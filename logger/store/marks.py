"""How far the store has come, and taking back what came after the last confirmed transaction."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from logger.core.record import ChainHead
from logger.store.batches import head
from logger.store.chain import GENESIS
from logger.store.gaps import hash_at


@dataclass(frozen=True, slots=True)
class Marks:
    """The newest batch with its hash; the last number of outbox, runs and register, and row of the records."""

    head: ChainHead
    outbox: int
    run: int
    record: int
    register: int


def read_marks(connection: sqlite3.Connection) -> Marks:
    """Where the store stands."""
    numbers = connection.execute(
        "SELECT (SELECT coalesce(max(seq), 0) FROM outbox), (SELECT coalesce(max(number), 0) FROM run), "
        "(SELECT coalesce(max(rowid), 0) FROM record), (SELECT coalesce(max(seq), 0) FROM register)"
    ).fetchone()
    return Marks(head(connection), *numbers)


def holds(connection: sqlite3.Connection, marks: Marks) -> bool:
    """Whether the store still has everything up to `marks`."""
    now = read_marks(connection)
    known = GENESIS if marks.head.batch == 0 else hash_at(connection, marks.head.batch)
    return known == marks.head.sha256 and all(
        getattr(now, name) >= getattr(marks, name) for name in ("outbox", "run", "record", "register")
    )


def take_back(connection: sqlite3.Connection, marks: Marks) -> bool:
    """Delete what a transaction left that was never confirmed. True when there was something.

    Only for transactions whose commit failed: their callers were told so.
    """
    if read_marks(connection) == marks:
        return False
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("DELETE FROM record WHERE rowid > ?", (marks.record,))
    connection.execute("DELETE FROM outbox WHERE seq > ?", (marks.outbox,))
    connection.execute("DELETE FROM batch WHERE seq > ?", (marks.head.batch,))
    connection.execute("DELETE FROM register WHERE seq > ?", (marks.register,))
    connection.execute("DELETE FROM secret WHERE entry > ?", (marks.register,))
    connection.execute("DELETE FROM run WHERE number > ?", (marks.run,))
    connection.execute("COMMIT")
    return True
