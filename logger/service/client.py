"""A watcher's end of the local protocol: JSON lines over the bench's local socket.

The client comes back by itself when the service goes away, keeps only the newest snapshot (a slow
console never holds up the service), and judges "answering" by the age of the last message, never by
an open connection.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

from logger.core.snapshot import Snapshot
from logger.core.snapshot_json import snapshot_from_json
from logger.service.local_socket import open_local

PROTOCOL = 1
LINE_LIMIT = 4 * 1024 * 1024
"""A whole snapshot with its log fits; asyncio's own 64 KiB would not do."""
SILENT_S = 3.0
"""The service sends at least once a second; three missed are shown as "not answering"."""
RECONNECT_S = 10.0
"""After this long without a byte the connection is given up and made anew."""
REPLY_S = 10.0
GONE = "The service went away before it answered. See where the run stands before trying again."
LOOKING = "looking for the service"
MAX_PENDING = 16
RETRY_S = 0.5


class ServiceError(Exception):
    """The other end said something this client cannot use; the text is a sentence for people."""


@dataclass(frozen=True, slots=True)
class Reply:
    """The service's answer to a command. `text` is a sentence, the reason when not ok."""

    ok: bool
    text: str


@dataclass(frozen=True, slots=True)
class QueryReply:
    """The service's answer to a question. `data` holds JSON values, None when not ok; `text` then says why."""

    ok: bool
    text: str
    data: Any = None


@dataclass(frozen=True, slots=True)
class History:
    """The run so far, as sent at the start: s since suction on, balance in g (tare off), pressure in Pa.

    Of live mode also its estimates: load in g, loss rate and its standard uncertainty in % of the charge a minute.
    """

    t_s: tuple[float, ...] = ()
    mass_g: tuple[float | None, ...] = ()
    dp_pa: tuple[float | None, ...] = ()
    load_g: tuple[float | None, ...] = ()
    rate: tuple[float | None, ...] = ()
    rate_u: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Watch:
    """What a watcher knows now. `age_s` is the age of the last message, None before the first."""

    snapshot: Snapshot | None
    history: History
    answering: bool
    age_s: float | None
    problem: str


class ServiceClient:
    """One watcher. Start `run()` as a task; read `changes()`; send with `command()`."""

    def __init__(self, path: Path, *, retry_s: float = RETRY_S) -> None:
        self._path = path
        self._retry_s = retry_s
        self._writer: asyncio.StreamWriter | None = None
        self._pending: dict[int, asyncio.Future[QueryReply]] = {}
        self._ids = count(1)
        self._changed = asyncio.Event()
        self._snapshot: Snapshot | None = None
        self._history = History()
        self._heard_at: float | None = None
        self._greeted = False
        self._current = False
        """Whether the snapshot came over the connection that stands now."""
        self._problem = LOOKING

    async def run(self) -> None:
        """Connects and reconnects until cancelled."""
        while True:
            try:
                await self._attend()
            except (OSError, TimeoutError, ServiceError) as error:
                self._note_loss(_sentence(error))
            await asyncio.sleep(self._retry_s)

    def watch(self) -> Watch:
        """What is known at this moment."""
        age_s = None if self._heard_at is None else time.monotonic() - self._heard_at
        answering = self._current and age_s is not None and age_s < SILENT_S
        problem = "" if answering else self._problem
        return Watch(self._snapshot, self._history, answering, age_s, problem)

    async def changes(self) -> AsyncIterator[Watch]:
        """What is known, at once when it changed and at least once a second. For one reader."""
        while True:
            with contextlib.suppress(TimeoutError):
                # Not wait_for: in Python 3.11 it swallows a cancellation that meets the event.
                async with asyncio.timeout(1.0):
                    await self._changed.wait()
            self._changed.clear()
            yield self.watch()

    async def command(self, name: str, /, **args: Any) -> Reply:
        """Asks the service to do something. Never raises for a refusal or a lost service."""
        answer = await self._call(name, args, "See where the run stands before trying again.")
        return Reply(answer.ok, answer.text)

    async def query(self, what: str, /, **args: Any) -> QueryReply:
        """Asks about what is kept; needs no controls. Never raises for a refusal or a lost service."""
        return await self._call("query", {**args, "what": what}, "Ask again.")

    async def _call(self, name: str, args: dict[str, Any], advice: str) -> QueryReply:
        if self._writer is None or not self.watch().answering:
            return QueryReply(False, "The service does not answer. Nothing was sent.")
        if len(self._pending) >= MAX_PENDING:
            return QueryReply(False, "Too many commands wait for an answer. Nothing was sent.")
        number = next(self._ids)
        future: asyncio.Future[QueryReply] = asyncio.get_running_loop().create_future()
        self._pending[number] = future
        try:
            async with asyncio.timeout(REPLY_S):
                return await self._ask(number, name, args, future)
        except TimeoutError:
            return QueryReply(False, f"No answer in {REPLY_S:g} s. {advice}")
        except OSError:
            return QueryReply(False, GONE)
        finally:
            self._pending.pop(number, None)

    async def _ask(self, number: int, name: str, args: Any, future: asyncio.Future[QueryReply]) -> QueryReply:
        assert self._writer is not None
        message = {"type": "command", "id": number, "do": name, "args": args}
        self._writer.write(json.dumps(message).encode("ascii") + b"\n")
        await self._writer.drain()
        return await future

    async def _attend(self) -> None:
        async with asyncio.timeout(RECONNECT_S):
            reader, writer = await open_local(self._path, LINE_LIMIT)
        self._writer = writer
        try:
            while True:
                self._take(await self._next_message(reader))
        finally:
            self._writer = None
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def _next_message(self, reader: asyncio.StreamReader) -> dict[str, Any]:
        try:
            async with asyncio.timeout(RECONNECT_S):
                line = await reader.readline()
            if not line.endswith(b"\n"):
                raise ServiceError("the service closed the connection")
            message = json.loads(line)
        except (ValueError, RecursionError) as error:
            raise ServiceError("the service sent something that is no message") from error
        if not isinstance(message, dict):
            raise ServiceError("the service sent something that is no message")
        return message

    def _take(self, message: dict[str, Any]) -> None:
        kind = message.get("type")
        if kind == "hello":
            self._take_hello(message)
        elif not self._greeted:
            raise ServiceError("the service did not say hello")
        elif kind == "snapshot":
            self._take_snapshot(message)
        elif kind == "reply":
            self._take_reply(message)
        self._heard_at = time.monotonic()
        self._changed.set()

    def _take_hello(self, message: dict[str, Any]) -> None:
        if message.get("protocol") != PROTOCOL:
            raise ServiceError(
                f"the service speaks protocol {message.get('protocol')!r}, this console {PROTOCOL}:"
                " start both from the same version"
            )
        self._history = _history(message.get("history"))
        self._greeted = True

    def _take_snapshot(self, message: dict[str, Any]) -> None:
        try:
            self._snapshot = snapshot_from_json(message.get("data"))
        except ValueError as error:
            raise ServiceError(f"the service sent a picture that cannot be read: {error}") from error
        self._current = True

    def _take_reply(self, message: dict[str, Any]) -> None:
        number = message.get("id")
        future = self._pending.get(number) if isinstance(number, int) else None
        if future is not None and not future.done():
            ok, text = message.get("ok") is True, str(message.get("text", ""))
            future.set_result(QueryReply(ok, text, message.get("data") if ok else None))

    def _note_loss(self, problem: str) -> None:
        self._greeted = self._current = False
        self._problem = problem
        for future in self._pending.values():
            if not future.done():
                future.set_result(QueryReply(False, GONE))
        self._changed.set()


_COLUMNS = ("t_s", "mass_g", "dp_pa", "load_g", "rate_pct_per_min", "rate_u_pct_per_min")


def _history(data: object) -> History:
    """The columns of a hello; whatever is not columns of one length is taken as none. Estimates may be missing."""
    if not isinstance(data, dict) or not isinstance(data.get("t_s"), list):
        return History()
    length = len(data["t_s"])
    columns = [data.get(name, [None] * length) for name in _COLUMNS]
    if not all(isinstance(column, list) and len(column) == length for column in columns):
        return History()
    rows = [
        row for row in zip(*(map(_number, column) for column in columns), strict=True) if row[0] is not None
    ]
    times, *others = zip(*rows, strict=True) if rows else ((),) * len(_COLUMNS)
    return History(tuple(t_s for t_s in times if t_s is not None), *others)


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _sentence(error: Exception) -> str:
    if isinstance(error, ServiceError):
        return str(error)
    if isinstance(error, TimeoutError):
        return f"nothing heard for {RECONNECT_S:g} s"
    if isinstance(error, FileNotFoundError):
        return "no service at this bench's socket"
    if isinstance(error, ConnectionRefusedError):
        return "no service answers at this bench's socket"
    if isinstance(error, PermissionError):
        return "the bench's socket belongs to another user"
    return f"connection lost: {error.strerror or error}" if isinstance(error, OSError) else str(error)
