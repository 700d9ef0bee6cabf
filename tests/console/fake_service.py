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


@dataclass
class FakeService:
    """Shows `snapshot` to whoever connects and answers commands with `answer`."""

    path: Path
    snapshot: Snapshot
    history: dict[str, Any] = field(default_factory=lambda: {"t_s": [], "mass_g": [], "dp_pa": []})
    protocol: int = 1
    answer: Callable[[str, dict[str, Any]], Answer | None] = lambda name, args: (True, "Done.")
    heartbeat_s: float = 0.5
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
            self.commands.append((message["do"], message["args"]))
            answer = self.answer(message["do"], message["args"])
            if answer is not None:
                ok, text = answer
                await _send(writer, {"type": "reply", "id": message["id"], "ok": ok, "text": text})

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
