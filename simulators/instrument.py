"""One instrument on its line: when it speaks, what it answers. Bytes and bench time only, no port, no clock."""

from __future__ import annotations

import heapq
from collections.abc import Callable

import numpy as np

from simulators.dialects import Dialect, Shown, requests_in
from simulators.faults import SECOND_NS, WireFaults

ANSWER_NS = 15_000_000
"""Time from a request to the first byte of its answer."""

NEVER_NS = 1 << 62


class LineInstrument:
    """Speaks one dialect about what `look` sees. Times in ns of bench time."""

    def __init__(
        self, dialect: Dialect, look: Callable[[], Shown], rng: np.random.Generator, first_ns: int
    ) -> None:
        self.dialect = dialect
        self.faults = WireFaults(dialect, rng)
        self._look = look
        self._counter = 0
        self._last_line_ns = first_ns - round(dialect.period_s * SECOND_NS)
        self._asked: list[int] = []
        self._pending = b""
        self._out: list[tuple[int, int, bytes]] = []
        self._sent = 0
        self._last_out_ns = 0

    def receive(self, data: bytes, at_ns: int) -> None:
        """Bytes that arrived from the other side; each whole request is answered a little later."""
        count, self._pending = requests_in(self._pending + data, self.dialect)
        self._asked += [at_ns + ANSWER_NS] * count

    def next_ns(self, now_ns: int) -> int:
        """When `fire` has something to do next."""
        due = self._asked[0] if self._asked else NEVER_NS
        period_ns = self.faults.period_ns(now_ns)
        if period_ns is not None:
            due = min(due, self._last_line_ns + period_ns)
        return min(due, self._out[0][0]) if self._out else due

    def fire(self, at_ns: int) -> list[bytes]:
        """Everything that goes on the wire at this time."""
        while self._asked and self._asked[0] <= at_ns:
            self._asked.pop(0)
            self._say(at_ns)
        self._stream(at_ns)
        ready: list[bytes] = []
        while self._out and self._out[0][0] <= at_ns:
            ready.append(heapq.heappop(self._out)[2])
        return ready

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
        for due_ns, data in self.faults.shape(line, at_ns):
            self._last_out_ns = max(due_ns, self._last_out_ns)
            heapq.heappush(self._out, (self._last_out_ns, self._sent, data))
            self._sent += 1
