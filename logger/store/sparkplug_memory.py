"""What Sparkplug keeps across restarts: its count of connections and how far the records were sent that way."""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Callable
from typing import TypeVar

from logger.core.ports import OutboxItem
from logger.store import outbox_rows as rows
from logger.store.writer import Writer

T = TypeVar("T")
_BDSEQ, _SENT = "sparkplug_bdseq", "sparkplug_sent"
_COUNT = 256


class SparkplugMemory:
    """In the table `meta` of the store, on its one writer."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer

    async def next_bdseq(self) -> int:
        """0 the first time, one more each time, 0 again after 255; durable before it is given out."""
        return await self._do(_next_bdseq)

    async def record_to_send(self) -> OutboxItem | None:
        """The oldest record that was not sent this way. What was queued before the first call is not asked for."""
        return await self._do(lambda connection: rows.record_after(connection, _sent(connection)))

    async def note_sent(self, seq: int) -> None:
        """This record and all before it were sent."""
        await self._do(lambda connection: _put(connection, _SENT, seq))

    async def newest_record(self) -> OutboxItem | None:
        """The record of the newest run in its newest revision."""
        return await self._do(rows.newest_record)

    async def counts(self) -> tuple[int, int, int]:
        """Last seq, messages waiting, messages set aside."""
        return await self._do(lambda connection: (rows.last_seq(connection), *rows.waiting(connection)))

    async def _do(self, job: Callable[[sqlite3.Connection], T]) -> T:
        return await asyncio.wrap_future(self._writer.submit(job, after_pending=False))


def _next_bdseq(connection: sqlite3.Connection) -> int:
    last = _get(connection, _BDSEQ)
    number = 0 if last is None else (last + 1) % _COUNT
    _put(connection, _BDSEQ, number)
    return number


def _sent(connection: sqlite3.Connection) -> int:
    sent = _get(connection, _SENT)
    if sent is None:
        sent = rows.last_seq(connection)
        _put(connection, _SENT, sent)
    return sent


def _get(connection: sqlite3.Connection, key: str) -> int | None:
    row = connection.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
    return None if row is None else int(row[0])


def _put(connection: sqlite3.Connection, key: str, value: int) -> None:
    connection.execute("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)", (key, str(value)))
