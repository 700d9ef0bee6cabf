"""Question and answer over one opened port, whatever the protocol."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Sequence
from typing import Final, TypeVar

from drivers.link_error import LinkError
from drivers.transport import Chunk, Transport

T = TypeVar("T")

MOST_HEARD_BYTES: Final = 1024
"""More than any answer here; what comes beyond is noise and the oldest of it is dropped."""


class Exchange:
    """Sends a request and waits for what answers it. Every wait ends at once when the link is lost.

    Answers carry no number in the protocols this is for, so what was heard before a request is dropped
    when it is sent.
    """

    def __init__(self) -> None:
        self.heard = b""
        self.heard_ns = 0
        self._transport: Transport | None = None
        self._news = asyncio.Event()
        self._failure: BaseException | None = None

    def begin(self, transport: Transport) -> None:
        """The port is open."""
        self._transport = transport

    def on_data(self, chunks: Sequence[Chunk]) -> None:
        """Bytes arrived (transport hook)."""
        data = b"".join(data for data, _ in chunks)
        self.heard = (self.heard + data)[-MOST_HEARD_BYTES:]
        self.heard_ns = chunks[-1][1]
        self._news.set()

    def on_lost(self, error: LinkError) -> None:
        """The link is gone (transport hook)."""
        self._failure = error
        self._news.set()

    def wake(self) -> None:
        """Has the wait that goes on look again whether it still holds."""
        self._news.set()

    async def ask(
        self,
        request: bytes,
        answer_in: Callable[[bytes], T | None],
        within_s: float,
        while_: Callable[[], bool] = lambda: True,
    ) -> T | None:
        """Sends `request`; gives what `answer_in` finds in the bytes heard since.

        None after `within_s`, or when `while_` no longer holds at a `wake`. Raises LinkError when the link
        is lost.
        """
        assert self._transport is not None
        self._raise_failure()
        self.heard = b""
        self._transport.write(request)
        return await self._wait(answer_in, within_s, while_)

    async def pause(self, seconds: float, while_: Callable[[], bool] = lambda: True) -> None:
        """Waits, not longer than `while_` holds. Raises LinkError when the link is lost meanwhile."""
        await self._wait(lambda heard: None, seconds, while_)

    async def _wait(
        self, answer_in: Callable[[bytes], T | None], seconds: float, while_: Callable[[], bool]
    ) -> T | None:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while while_():
                    self._raise_failure()
                    if (found := answer_in(self.heard)) is not None:
                        return found
                    self._news.clear()
                    await self._news.wait()
        return None

    def _raise_failure(self) -> None:
        if self._failure is not None:
            raise self._failure
