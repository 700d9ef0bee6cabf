"""Listens at a port whose instrument is not known yet, and asks it when it is allowed to."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Sequence
from types import TracebackType
from typing import Final, Self

from drivers.learn.heard import Passage, Step
from drivers.link_error import LinkError
from drivers.ports import resolve_port
from drivers.profile import SerialSettings
from drivers.serial_transport import SerialTransport
from drivers.tcp_transport import TcpTransport
from drivers.transport import Chunk, Transport, TransportHooks, tcp_address

CONNECT_S: Final = 5.0
SLOWEST_ANSWER_S: Final = 1.0
MOST_BYTES: Final = 4 << 20
"""More than an hour at the pace of a balance; what comes beyond is not kept."""


class Ear:
    """One opening of one port: `async with Ear(port, settings) as ear`. Raises LinkError when it cannot be opened.

    With a `request` it asks every `period_s`. What is heard is kept under the `step` of the moment.
    """

    def __init__(
        self, port: str, settings: SerialSettings, request: bytes = b"", period_s: float = 0.25
    ) -> None:
        self.settings = settings
        self.request = request
        self.step = Step.BETWEEN
        self._port, self._period_s = port, period_s
        self._passages: list[tuple[Step, list[Chunk]]] = []
        self._bytes = 0
        self._news = asyncio.Event()
        self._lost: LinkError | None = None
        self._transport: Transport | None = None
        self._asking: asyncio.Task[None] | None = None

    async def __aenter__(self) -> Self:
        device = resolve_port(self._port)
        hooks = TransportHooks(time.monotonic_ns, self._on_data, self._on_lost)
        address = tcp_address(device)
        self._transport = (
            SerialTransport(device, self.settings, hooks)
            if address is None
            else TcpTransport(device, address, hooks, CONNECT_S)
        )
        await self._transport.open()
        self._asking = asyncio.create_task(self._ask()) if self.request else None
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._asking is not None:
            self._asking.cancel()
            await asyncio.wait((self._asking,))
        if self._transport is not None:
            await self._transport.close()

    def passages(self) -> list[Passage]:
        """Everything heard so far, in order."""
        return [Passage(step, tuple(chunks)) for step, chunks in self._passages]

    def heard(self, step: Step | None = None) -> bytes:
        """The bytes of the last passage of that step, or all."""
        if step is None:
            return b"".join(data for _, chunks in self._passages for data, _ in chunks)
        last = next((chunks for kind, chunks in reversed(self._passages) if kind is step), [])
        return b"".join(data for data, _ in last)

    async def listen(self, seconds: float, enough_bytes: int = MOST_BYTES) -> bytes:
        """What comes in the next seconds, or sooner when enough came. Raises LinkError when the link is lost."""
        before = self._bytes
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while self._bytes - before < enough_bytes:
                    self._raise_lost()
                    self._news.clear()
                    await self._news.wait()
        self._raise_lost()
        return self.heard()[before:]

    async def ask_once(self, request: bytes, seconds: float) -> bytes:
        """Sends one request and gives what comes within the time."""
        assert self._transport is not None
        self._transport.write(request)
        return await self.listen(seconds)

    async def _ask(self) -> None:
        assert self._transport is not None
        while True:
            before = self._bytes
            self._transport.write(self.request)
            await asyncio.sleep(self._period_s)
            waited_s = self._period_s
            while self._bytes == before and waited_s < SLOWEST_ANSWER_S:
                await asyncio.sleep(0.05)
                waited_s += 0.05

    def _on_data(self, chunks: Sequence[Chunk]) -> None:
        if self._bytes < MOST_BYTES:
            if not self._passages or self._passages[-1][0] is not self.step:
                self._passages.append((self.step, []))
            self._passages[-1][1].extend(chunks)
            self._bytes += sum(len(data) for data, _ in chunks)
        self._news.set()

    def _on_lost(self, error: LinkError) -> None:
        self._lost = error
        self._news.set()

    def _raise_lost(self) -> None:
        if self._lost is not None:
            raise self._lost
