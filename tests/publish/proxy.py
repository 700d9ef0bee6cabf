"""A TCP middleman between bench and broker: it can be cut, go silent without closing, or be slow."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from dataclasses import dataclass, field


@dataclass
class Proxy:
    """`bytes_per_s` 0: as fast as it goes. `silent`: takes everything, passes nothing on."""

    target: int
    port: int = 0
    bytes_per_s: float = 0.0
    silent: bool = False
    _writers: list[asyncio.StreamWriter] = field(default_factory=list)
    _pipes: set[asyncio.Task[None]] = field(default_factory=set)

    def cut(self) -> None:
        """Ends all connections at once, as a pulled cable with a reset at the far end."""
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self.target)
        self._writers += [writer, far_writer]
        for source, sink in ((reader, far_writer), (far_reader, writer)):
            task = asyncio.create_task(self._pipe(source, sink))
            self._pipes.add(task)
            task.add_done_callback(self._pipes.discard)

    async def _pipe(self, source: asyncio.StreamReader, sink: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError):
            while data := await source.read(1024):
                if self.silent:
                    continue
                if self.bytes_per_s:
                    await asyncio.sleep(len(data) / self.bytes_per_s)
                sink.write(data)
                await sink.drain()
        if not self.silent:
            sink.close()


@contextlib.asynccontextmanager
async def proxy(target: int) -> AsyncIterator[Proxy]:
    """Listening on a free port of 127.0.0.1."""
    subject = Proxy(target)
    server = await asyncio.start_server(subject.serve, "127.0.0.1", 0)
    subject.port = server.sockets[0].getsockname()[1]
    try:
        yield subject
    finally:
        server.close()
        subject.cut()
        for task in list(subject._pipes):
            task.cancel()
        await asyncio.gather(*subject._pipes, return_exceptions=True)
