"""The other end of a port, played by the test: a pseudo-terminal behind a link, or a TCP server."""

from __future__ import annotations

import asyncio
import os
import tty
from collections.abc import Awaitable, Callable, Coroutine
from pathlib import Path
from typing import Any, Protocol, TypeVar

T = TypeVar("T")


def run_async(main: Coroutine[Any, Any, T]) -> T:
    """Runs a test body and fails when it leaves a task behind."""

    async def checked() -> T:
        result = await asyncio.wait_for(main, 60)
        left = asyncio.all_tasks() - {asyncio.current_task()}
        assert not left
        return result

    return asyncio.run(checked())


async def until(true: Callable[[], object], within_s: float = 5.0) -> None:
    """Waits for something to become true, and fails when it does not."""
    end = asyncio.get_running_loop().time() + within_s
    while not true():
        assert asyncio.get_running_loop().time() < end, "did not happen in time"
        await asyncio.sleep(0.002)


class Peer(Protocol):
    """An instrument as seen from its own side. `port` stays the same over unplugging."""

    port: str
    received: bytearray

    async def plug(self) -> None: ...

    async def unplug(self) -> None: ...

    async def write(self, data: bytes) -> None: ...

    def answer_with(self, answer: Callable[[bytes], bytes]) -> None: ...


class PtyPeer:
    """A pseudo-terminal; `port` is a link that is made anew when it is plugged."""

    def __init__(self, folder: Path) -> None:
        self.link = folder / "port"
        self.port = str(self.link)
        self.received = bytearray()
        self._answer: Callable[[bytes], bytes] = lambda data: b""
        self._master = -1
        self._slave = -1

    async def plug(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._master)
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self._slave))
        asyncio.get_running_loop().add_reader(self._master, self._read)

    async def unplug(self) -> None:
        if self._master >= 0:
            asyncio.get_running_loop().remove_reader(self._master)
            self.link.unlink(missing_ok=True)
            os.close(self._slave)
            os.close(self._master)
            self._master = -1

    async def write(self, data: bytes) -> None:
        while data:
            try:
                data = data[os.write(self._master, data) :]
            except BlockingIOError:
                await asyncio.sleep(0.001)

    def answer_with(self, answer: Callable[[bytes], bytes]) -> None:
        self._answer = answer

    def _read(self) -> None:
        data = os.read(self._master, 4096)
        self.received += data
        if answer := self._answer(data):
            os.write(self._master, answer)


class TcpPeer:
    """A server on a port of its own; unplugging ends it with its connections."""

    def __init__(self) -> None:
        self.port = ""
        self.received = bytearray()
        self._answer: Callable[[bytes], bytes] = lambda data: b""
        self._number = 0
        self._server: asyncio.Server | None = None
        self.connections: list[asyncio.StreamWriter] = []
        self._tasks: set[asyncio.Task[Any]] = set()

    async def plug(self) -> None:
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", self._number)
        self._number = self._server.sockets[0].getsockname()[1]
        self.port = f"socket://127.0.0.1:{self._number}"

    async def unplug(self) -> None:
        if self._server is not None:
            self._server.close()
            self._server = None
            await asyncio.sleep(0.01)  # a connection just made is accepted first
        for writer in self.connections:
            writer.close()
        self.connections.clear()
        if self._tasks:
            await asyncio.wait(self._tasks)

    async def write(self, data: bytes) -> None:
        await until(lambda: self.connections)
        self.connections[-1].write(data)
        await self.connections[-1].drain()

    def answer_with(self, answer: Callable[[bytes], bytes]) -> None:
        self._answer = answer

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        self.connections.append(writer)
        try:
            while data := await reader.read(4096):
                self.received += data
                if answer := self._answer(data):
                    writer.write(answer)
        except ConnectionError:
            pass
        finally:
            writer.close()
            self._tasks.discard(task)


async def with_peer(peer: Peer, body: Callable[[Peer], Awaitable[None]]) -> None:
    """Plugs the peer, runs the body and takes the peer away whatever happens."""
    await peer.plug()
    try:
        await body(peer)
    finally:
        await peer.unplug()
