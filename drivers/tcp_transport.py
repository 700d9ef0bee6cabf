"""A TCP stream as a port (`socket://host:port`): serial servers and the simulator."""

from __future__ import annotations

import asyncio

from drivers.link_error import lost_error, open_error
from drivers.transport import TransportHooks


class TcpTransport(asyncio.Protocol):
    """Plain asyncio; bytes are stamped when the loop hands them over."""

    def __init__(self, port: str, address: tuple[str, int], hooks: TransportHooks, connect_s: float) -> None:
        self._port = port
        self._address = address
        self._hooks = hooks
        self._connect_s = connect_s
        self._stream: asyncio.Transport | None = None
        self._ended: asyncio.Future[None] | None = None
        self._closing = False

    async def open(self) -> None:
        """Connects. Raises LinkError."""
        loop = asyncio.get_running_loop()
        self._ended = loop.create_future()
        try:
            async with asyncio.timeout(self._connect_s):
                await loop.create_connection(lambda: self, *self._address)
        except asyncio.CancelledError:
            await self.close()
            raise
        except OSError as error:
            await self.close()
            raise open_error(self._port, error) from None

    def write(self, data: bytes) -> None:
        """Sends soon; nothing happens on a closed link."""
        if self._stream is not None and not self._stream.is_closing():
            self._stream.write(data)

    def collect(self) -> None:
        """Nothing ever waits here."""

    async def close(self) -> None:
        """Drops the connection and waits until it is gone."""
        self._closing = True
        if self._stream is not None and self._ended is not None:
            self._stream.abort()
            await asyncio.shield(self._ended)

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Called by asyncio."""
        assert isinstance(transport, asyncio.Transport)
        self._stream = transport

    def data_received(self, data: bytes) -> None:
        """Called by asyncio."""
        if not self._closing:
            self._hooks.on_data([(data, self._hooks.now_ns())])

    def connection_lost(self, exc: Exception | None) -> None:
        """Called by asyncio, once."""
        if self._ended is not None and not self._ended.done():
            self._ended.set_result(None)
        if not self._closing:
            self._closing = True
            self._hooks.on_lost(lost_error(self._port, exc))
