"""Lines from a terminal or a pipe as they come, read beside the event loop."""

from __future__ import annotations

import asyncio
import contextlib
import os
import threading
from collections.abc import Iterator

LINE_LIMIT = 2000
Lines = asyncio.Queue[str | None]


class LeaveError(Exception):
    """The input ended or the person left."""


def lines_of(descriptor: int, encoding: str) -> Lines:
    """Lines as they come, None at the end of input.

    Read in a thread that never holds up the exit, and below Python's own buffer, whose lock a thread
    left waiting would keep.
    """
    queue: Lines = asyncio.Queue()
    loop = asyncio.get_running_loop()

    def read() -> None:
        with contextlib.suppress(OSError, RuntimeError):
            for line in _split(descriptor, encoding):
                loop.call_soon_threadsafe(queue.put_nowait, line)
        with contextlib.suppress(RuntimeError):
            loop.call_soon_threadsafe(queue.put_nowait, None)

    threading.Thread(target=read, name="read lines", daemon=True).start()
    return queue


def _split(descriptor: int, encoding: str) -> Iterator[str]:
    """Whole lines, what follows the last one included; a line without end is cut."""
    rest = b""
    while data := os.read(descriptor, 4096):
        *lines, rest = (rest + data).split(b"\n")
        for line in lines:
            yield line.decode(encoding, "replace")
        if len(rest) > LINE_LIMIT:
            yield rest[:LINE_LIMIT].decode(encoding, "replace")
            rest = b""
    if rest:
        yield rest.decode(encoding, "replace")
