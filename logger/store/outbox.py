"""The outbox as the sender sees it: asynchronous, on the store's one writer."""

from __future__ import annotations

import asyncio
import contextlib
import sqlite3
from collections.abc import Callable, Sequence
from typing import TypeVar

from logger.core.ports import OutboxItem
from logger.store import outbox_rows as rows
from logger.store.writer import Writer

T = TypeVar("T")


class SqliteOutbox:
    """Implements the core's Outbox port."""

    def __init__(self, writer: Writer, utc: Callable[[], str]) -> None:
        """Call `poke` (from any thread) when messages were added."""
        self._writer, self._utc = writer, utc
        self._loop: asyncio.AbstractEventLoop | None = None
        self._more = asyncio.Event()

    def poke(self) -> None:
        """Something was added: wake the sender. Safe from any thread, also when no loop runs yet."""
        if self._loop is not None and not self._loop.is_closed():
            with contextlib.suppress(RuntimeError):
                self._loop.call_soon_threadsafe(self._more.set)

    async def unsent(self, most: int, most_bytes: int) -> list[OutboxItem]:
        """The oldest messages that are neither sent nor set aside, within the bounds; always the oldest."""
        self._loop = asyncio.get_running_loop()  # from here on no word of a later message is lost
        return await self._do(lambda connection: rows.unsent(connection, most, most_bytes))

    async def mark_sent(self, seqs: Sequence[int]) -> None:
        """The broker acknowledged these: one transaction."""
        await self._do(lambda connection: rows.mark_sent(connection, seqs, self._utc()))

    async def note_failure(self, seq: int, reason: str) -> None:
        """One more attempt failed; the message is kept."""
        await self._do(lambda connection: rows.note_failure(connection, seq, reason))

    async def set_aside(self, seq: int, reason: str) -> None:
        """Never retried; kept and shown."""
        await self._do(lambda connection: rows.set_aside(connection, seq, reason))

    async def waiting(self) -> tuple[int, int]:
        """How many wait, and how many are set aside."""
        return await self._do(rows.waiting)

    async def last_seq(self) -> int:
        """The highest seq ever handed out, 0 before the first."""
        return await self._do(rows.last_seq)

    async def newest_record(self) -> OutboxItem | None:
        """The record of the newest run in its newest revision, sent or not."""
        return await self._do(rows.newest_record)

    async def wait_for_more(self, timeout_s: float) -> None:
        """Returns when something was added since the last look, or after the time."""
        self._loop = asyncio.get_running_loop()
        with contextlib.suppress(TimeoutError):
            # Not wait_for: in Python 3.11 it swallows a cancellation that meets the event.
            async with asyncio.timeout(timeout_s):
                await self._more.wait()
        self._more.clear()

    async def _do(self, job: Callable[[sqlite3.Connection], T]) -> T:
        return await asyncio.wrap_future(self._writer.submit(job, after_pending=False))
