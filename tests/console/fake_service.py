"""A service without a bench: speaks the local protocol over a real Unix socket, for the console's tests."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logger.core.snapshot import Snapshot
from logger.core.snapshot_json import snapshot_to_json

Answer = tuple[bool, str]
Found = tuple[bool, str, Any]


def _nothing_kept(what: str, args: dict[str, Any]) -> Found | None:
    return (False, f"There is no question {what!r}.", None)


@dataclass
class FakeService:
    """Shows `snapshot` to whoever connects, answers commands with `answer` and questions with `found`.

    `answer` gives ok and text, `found` ok, text and data; None is no reply at all.
    """

    path: Path
    snapshot: Snapshot
    history: dict[str, Any] = field(default_factory=lambda: {"t_s": [], "mass_g": [], "dp_pa": []})
    protocol: int = 1
    answer: Callable[[str, dict[str, Any]], Answer | None] = lambda name, args: (True, "Done.")
    found: Callable[[str, dict[str, Any]], Found | None] = _nothing_kept
    heartbeat_s: float = 0.5
    questions: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    commands: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    _server: asyncio.Server | None = None
    _writers: dict[asyncio.StreamWriter, asyncio.Task[None]] = field(default_factory=dict)
    _number: int = 0

    async def start(self) -> None:
        """Listens at the path."""
        self._server = await asyncio.start_unix_server(self._serve, str(self.path))

    async def stop(self) -> None:
        """Vanishes: closes every connection and the socket."""
        assert self._server is not None
        self._server.close()
        tasks = list(self._writers.values())
        for task in tasks:
            task.cancel()
        for task in tasks:
            with contextlib.suppress(asyncio.CancelledError):
                await task
        await self._server.wait_closed()
        self.path.unlink(missing_ok=True)

    async def show(self, snapshot: Snapshot) -> None:
        """Sends this snapshot to everyone, at once."""
        self.snapshot = snapshot
        for writer in list(self._writers):
            with contextlib.suppress(OSError):  # a watcher that has just gone
                await self._send_snapshot(writer)

    async def send_raw(self, data: bytes) -> None:
        """Sends these bytes as they are."""
        for writer in list(self._writers):
            writer.write(data)
            await writer.drain()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._writers[writer] = task
        beat = asyncio.create_task(self._beat(writer))
        try:
            await self._listen(reader, writer)
        except (asyncio.CancelledError, OSError):
            pass
        finally:
            beat.cancel()
            with contextlib.suppress(asyncio.CancelledError, OSError):
                await beat
            self._writers.pop(writer, None)
            writer.close()
            with contextlib.suppress(OSError, asyncio.CancelledError):
                await writer.wait_closed()

    async def _listen(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        hello = {
            "type": "hello",
            "protocol": self.protocol,
            "software": self.snapshot.software,
            "history": self.history,
        }
        await _send(writer, hello)
        await self._send_snapshot(writer)
        while line := await reader.readline():
            message = json.loads(line)
            reply = self._reply(message["do"], message["args"])
            if reply is not None:
                await _send(writer, {"type": "reply", "id": message["id"], **reply})

    def _reply(self, do: str, args: dict[str, Any]) -> dict[str, Any] | None:
        if do == "query":
            what = args.pop("what")
            self.questions.append((what, args))
            found = self.found(what, args)
            return None if found is None else dict(zip(("ok", "text", "data"), found, strict=True))
        self.commands.append((do, args))
        answer = self.answer(do, args)
        return None if answer is None else dict(zip(("ok", "text"), answer, strict=True))

    async def _beat(self, writer: asyncio.StreamWriter) -> None:
        while True:
            await asyncio.sleep(self.heartbeat_s)
            await self._send_snapshot(writer)

    async def _send_snapshot(self, writer: asyncio.StreamWriter) -> None:
        self._number += 1
        await _send(writer, {"type": "snapshot", "n": self._number, "data": snapshot_to_json(self.snapshot)})


async def _send(writer: asyncio.StreamWriter, message: dict[str, Any]) -> None:
    writer.write(json.dumps(message).encode("ascii") + b"\n")
    await writer.drain()


@contextlib.asynccontextmanager
async def serving(path: Path, snapshot: Snapshot, **settings: Any) -> AsyncIterator[FakeService]:
    """A fake service for the length of the block."""
    service = FakeService(path, snapshot, **settings)
    await service.start()
    try:
        yield service
    finally:
        if service._server is not None and service._server.is_serving():
            await service.stop()
