"""Where an instrument's bytes come out: a pseudo terminal behind a symbolic link, or a TCP port of this host.

The only module that needs POSIX, and only for pseudo terminals. A port can be unplugged and plugged again;
an unplugged one is gone for whoever had it open.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Literal, Protocol

PortKind = Literal["pty", "tcp"]

OnBytes = Callable[[bytes], None]

STALE_S = 2.0
"""A line nobody fetched for this long is lost, as on a wire with nobody listening."""

BACKLOG_BYTES = 4 << 20


class Port(Protocol):
    """One end of a cable. `address` is what the other side opens."""

    @property
    def address(self) -> str:
        """A device path, or socket://HOST:PORT."""
        ...

    async def plug(self, on_bytes: OnBytes) -> None:
        """Appears under its address; `on_bytes` is called with what the other side sends."""
        ...

    async def unplug(self) -> None:
        """Disappears; whoever had it open notices. Does nothing while it is unplugged."""
        ...

    def send(self, data: bytes) -> None:
        """Sends without waiting; while unplugged or unread the bytes are lost."""
        ...


class PtyPort:
    """A pseudo terminal; the link at `path` points to it while it is plugged."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._master = -1
        self._slave = -1
        self._backlog: deque[tuple[float, bytes]] = deque()
        self._on_bytes: OnBytes | None = None

    @property
    def address(self) -> str:
        """The path of the link."""
        return str(self._path)

    async def plug(self, on_bytes: OnBytes) -> None:
        """Opens a pair and points the link to it."""
        import tty

        if self._master >= 0:
            return
        self._master, self._slave = os.openpty()
        tty.setraw(self._master)
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self._on_bytes = on_bytes
        asyncio.get_running_loop().add_reader(self._master, self._read)
        _point_link(self._path, os.ttyname(self._slave))

    async def unplug(self) -> None:
        """Closes both ends and takes the link away."""
        if self._master < 0:
            return
        loop = asyncio.get_running_loop()
        loop.remove_reader(self._master)
        loop.remove_writer(self._master)
        os.close(self._master)
        os.close(self._slave)
        self._master = self._slave = -1
        self._backlog.clear()
        self._path.unlink(missing_ok=True)

    def send(self, data: bytes) -> None:
        """Writes, or keeps for a moment what the terminal does not take at once."""
        if self._master < 0:
            return
        if self._backlog:
            self._keep(data)
            return
        written = self._write(data)
        if written < len(data):
            self._keep(data[written:])
            asyncio.get_running_loop().add_writer(self._master, self._flush)

    def _write(self, data: bytes) -> int:
        try:
            return os.write(self._master, data)
        except BlockingIOError:
            return 0

    def _keep(self, data: bytes) -> None:
        now_s = asyncio.get_running_loop().time()
        self._backlog.append((now_s, data))
        if now_s - self._backlog[0][0] > STALE_S:
            self._forget_stale(now_s)

    def _forget_stale(self, now_s: float) -> None:
        import termios

        while self._backlog and now_s - self._backlog[0][0] > STALE_S:
            self._backlog.popleft()
        termios.tcflush(self._slave, termios.TCIFLUSH)

    def _flush(self) -> None:
        while self._backlog:
            at_s, data = self._backlog[0]
            written = self._write(data)
            if written < len(data):
                self._backlog[0] = (at_s, data[written:])
                return
            self._backlog.popleft()
        asyncio.get_running_loop().remove_writer(self._master)

    def _read(self) -> None:
        with contextlib.suppress(OSError):
            data = os.read(self._master, 65_536)
            if data and self._on_bytes:
                self._on_bytes(data)


def _point_link(path: Path, target: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.new")
    fresh.unlink(missing_ok=True)
    fresh.symlink_to(target)
    fresh.replace(path)


class _Wire(asyncio.Protocol):
    """One connection to a TcpPort."""

    def __init__(self, port: TcpPort) -> None:
        self._port = port
        self._transport: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if isinstance(transport, asyncio.Transport):
            self._transport = transport
            self._port.wires.add(self)

    def connection_lost(self, exc: Exception | None) -> None:
        self._port.wires.discard(self)

    def data_received(self, data: bytes) -> None:
        self._port.received(data)

    def send(self, data: bytes) -> None:
        """Sends unless the other side has stopped fetching."""
        if self._transport and self._transport.get_write_buffer_size() < BACKLOG_BYTES:
            self._transport.write(data)

    def cut(self) -> None:
        """Ends the connection at once."""
        if self._transport:
            self._transport.abort()


class TcpPort:
    """A TCP port on 127.0.0.1, as a serial-to-network converter offers it. All that connect hear the same."""

    def __init__(self, port: int = 0) -> None:
        self._port = port
        self._server: asyncio.Server | None = None
        self._on_bytes: OnBytes | None = None
        self.wires: set[_Wire] = set()

    @property
    def address(self) -> str:
        """socket://127.0.0.1:PORT; the port is known once it was plugged."""
        return f"socket://127.0.0.1:{self._port}"

    async def plug(self, on_bytes: OnBytes) -> None:
        """Listens, on the same port as before."""
        if self._server is not None:
            return
        self._on_bytes = on_bytes
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(lambda: _Wire(self), "127.0.0.1", self._port)
        self._port = self._server.sockets[0].getsockname()[1]

    async def unplug(self) -> None:
        """Stops listening and cuts every connection."""
        if self._server is None:
            return
        self._server.close()
        for wire in tuple(self.wires):
            wire.cut()
        await self._server.wait_closed()
        self._server = None

    def send(self, data: bytes) -> None:
        """Sends to all that are connected."""
        for wire in self.wires:
            wire.send(data)

    def received(self, data: bytes) -> None:
        """Passes on what a connection brought."""
        if self._on_bytes:
            self._on_bytes(data)
