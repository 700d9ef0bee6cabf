"""Bytes to and from one port. A transport opens once, reports its end once and is then thrown away."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Protocol
from urllib.parse import urlsplit

from drivers.link_error import LinkError, LinkTrouble

TCP_SCHEME: Final = "socket"

Chunk = tuple[bytes, int]
"""Bytes and the clock, in ns, when they arrived."""


@dataclass(frozen=True, slots=True)
class TransportHooks:
    """Where a transport gets the time and hands on what happens; both callbacks run on the event loop."""

    now_ns: Callable[[], int]
    """Asked where the bytes arrive, which may be another thread."""
    on_data: Callable[[Sequence[Chunk]], None]
    on_lost: Callable[[LinkError], None]
    """Called at most once, never after `close`."""
    batch_s: float = 0.0
    """A line that ends sooner than this after the last batch may wait for the next line; stamps are exact."""
    line_end: bytes = b""
    """The byte that ends a line: what comes before it may wait for it. Empty: whatever comes counts as a line."""


class Transport(Protocol):
    """One opened port."""

    async def open(self) -> None:
        """Raises LinkError when the port cannot be used; leaves nothing open then."""
        ...

    def write(self, data: bytes) -> None:
        """Sends soon, without waiting; a failure arrives as a lost link."""
        ...

    def collect(self) -> None:
        """Hands on at once what waits for its batch; when nothing does, the next bytes will not wait."""
        ...

    async def close(self) -> None:
        """Ends reading and frees the port; may be called at any time and again."""
        ...


def tcp_address(port: str) -> tuple[str, int] | None:
    """Host and number of `socket://host:port`, None for a serial device.

    Raises LinkError when it is neither.
    """
    if "://" not in port:
        return None
    try:
        parts = urlsplit(port)
        host, number = parts.hostname, parts.port
    except ValueError:
        host, number = None, None
    if not port.startswith(f"{TCP_SCHEME}://") or not host or not number:
        advice = "write a device path, serial:NUMBER or socket://HOST:PORT."
        raise LinkError(LinkTrouble.FAILED, f"port {port!r} is not understood: {advice}")
    return host, number
