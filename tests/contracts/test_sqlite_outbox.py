"""The store's outbox keeps the contract of the port."""

from __future__ import annotations

import asyncio
import json
import sqlite3
import uuid
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from logger.core.ports import MessageKind, Outbox
from logger.store.journal import Journal
from logger.store.outbox import SqliteOutbox
from logger.store.outbox_rows import add_message
from tests.contracts.outbox_suite import OutboxSuite, OutboxUnderTest
from tests.publish.memory_outbox import utc_now


class Store:
    """One database file, opened as a program would, once more after each `reopen`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.open()

    def open(self) -> None:
        self.journal = Journal(self.path, utc_now, new_id, on_failure=_fail)
        self.outbox = SqliteOutbox(self.journal.writer, utc_now)
        self.journal.on_message = self.outbox.poke

    async def add(self, kind: MessageKind, body: dict[str, Any]) -> None:
        def job(connection: sqlite3.Connection) -> None:
            if kind == "record":
                _keep_record(connection, body)
            add_message(connection, new_id(), kind, body["run_id"], utc_now(), body)

        await asyncio.wrap_future(self.journal.writer.submit(job))
        self.outbox.poke()

    async def reopen(self) -> Outbox:
        self.journal.close()
        self.open()
        return self.outbox


def new_id() -> str:
    return str(uuid.uuid4())


def _fail(*args: object) -> None:
    raise AssertionError(args)


def _keep_record(connection: sqlite3.Connection, body: dict[str, Any]) -> None:
    """The rows of the run and its record, which the journal would have written."""
    number = connection.execute("SELECT count(*) + 1 FROM run").fetchone()[0]
    connection.execute(
        "INSERT OR IGNORE INTO run (run_id, number, sample_id, operator_id, lot, method_id, method_revision, "
        "started_at, first_batch) VALUES (?, ?, 's', 'o', 'l', 'm', 1, ?, 1)",
        (body["run_id"], number, utc_now()),
    )
    connection.execute(
        "INSERT INTO record (run_id, revision, outcome, residue_pct, body) VALUES (?, ?, ?, NULL, ?)",
        (body["run_id"], body["revision"], body["outcome"], json.dumps(body)),
    )


class TestSqliteOutbox(OutboxSuite):
    @pytest.fixture
    def box(self, tmp_path: Path) -> Iterator[OutboxUnderTest]:
        store = Store(tmp_path / "store.db")
        yield OutboxUnderTest(outbox=store.outbox, add=store.add, reopen=store.reopen)
        store.journal.close()
