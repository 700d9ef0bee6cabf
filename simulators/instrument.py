"""One instrument on its line: when it speaks, what it answers. Bytes and bench time only, no port, no clock."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from typing import Protocol

import numpy as np

from simulators.dialects import Dialect, Shown, requests_in
from simulators.faults import SECOND_NS, WireFaults

ANSWER_NS = 15_000_000
"""Time from a request to the first byte of its answer."""

NEVER_NS = 1 << 62


class Instrument(Protocol):
    """What stands behind a port. Times in ns of bench time."""

    faults: WireFaults

    @property
    def request(self) -> bytes | None:
        """What has to be sent for a reading, None when readings come by themselves or by another protocol."""
        ...

    def receive(self, data: bytes, at_ns: int) -> None:
        """Bytes that arrived from the other side."""
        ...

    def next_ns(self, now_ns: int) -> int:
        """When `fire` has something to do next, NEVER_NS when it has not."""
        ...

    def fire(self, at_ns: int) -> list[bytes]:
        """Does what is due and returns everything that goes on the wire at this time."""
        ...


class Outlet:
    """Bytes on their way out, each with its time; what was put in first never leaves later."""

    def __init__(self) -> None:
        self._waiting: list[tuple[int, int, bytes]] = []
        self._count = 0
        self._last_ns = 0

    def put(self, chunks: list[tuple[int, bytes]]) -> None:
        """Adds chunks of (time in ns, bytes)."""
        for due_ns, data in chunks:
            self._last_ns = max(due_ns, self._last_ns)
            heapq.heappush(self._waiting, (self._last_ns, self._count, data))
            self._count += 1

    @property
    def next_ns(self) -> int:
        """When the next chunk leaves."""
        return self._waiting[0][0] if self._waiting else NEVER_NS

    def take(self, at_ns: int) -> list[bytes]:
        """The chunks whose time has come."""
        ready: list[bytes] = []
        while self._waiting and self._waiting[0][0] <= at_ns:
            ready.append(heapq.heappop(self._waiting)[2])
        return ready


class LineInstrument:
    """Speaks one line dialect about what `look` sees."""

    def __init__(
        self, dialect: Dialect, look: Callable[[], Shown], rng: np.random.Generator, first_ns: int
    ) -> None:
        period_s = None if dialect.request else dialect.period_s
        self.dialect = dialect
        self.faults = WireFaults(period_s, dialect.other_unit, rng)
        self._look = look
        self._counter = 0
        self._last_line_ns = first_ns - round(dialect.period_s * SECOND_NS)
        self._asked: list[int] = []
        self._pending = b""
        self._outlet = Outlet()

    @property
    def request(self) -> bytes | None:
        """What has to be sent for a reading, None when they come by themselves."""
        return self.dialect.request

    def receive(self, data: bytes, at_ns: int) -> None:
        """Bytes that arrived from the other side; each whole request is answered a little later."""
        count, self._pending = requests_in(self._pending + data, self.dialect)
        self._asked += [at_ns + ANSWER_NS] * count

    def next_ns(self, now_ns: int) -> int:
        """When `fire` has something to do next."""
        due_ns = self._asked[0] if self._asked else NEVER_NS
        period_ns = self.faults.period_ns(now_ns)
        if period_ns is not None:
            due_ns = min(due_ns, self._last_line_ns + period_ns)
        return min(due_ns, self._outlet.next_ns)

    def fire(self, at_ns: int) -> list[bytes]:
        """Everything that goes on the wire at this time."""
        while self._asked and self._asked[0] <= at_ns:
            self._asked.pop(0)
            self._say(at_ns)
        self._stream(at_ns)
        return self._outlet.take(at_ns)

    def _stream(self, at_ns: int) -> None:
        period_ns = self.faults.period_ns(at_ns)
        if period_ns is None:
            return
        due_ns = self._last_line_ns + period_ns
        if due_ns <= at_ns:
            self._say(at_ns)
            self._last_line_ns = due_ns if at_ns - due_ns < period_ns else at_ns

    def _say(self, at_ns: int) -> None:
        shown = self.faults.shown(self._look(), at_ns)
        line = self.dialect.line(shown, self.faults.manner(at_ns), self._counter)
        self._counter += 1
        self._outlet.put(self.faults.shape(line, at_ns))
