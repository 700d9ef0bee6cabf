"""Bytes on their way from where ports are read to the event loop: all ports of a bench share a wake-up.

Waking the loop costs more than reading a line. So whole lines that follow each other closely wait for the next line
of their port (`TransportHooks.batch_s`), and whatever wakes the loop takes along what waits at the other ports.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from typing import Final

from drivers.port_reader import PortReader
from drivers.transport import Chunk, TransportHooks

MOST_BATCH_BYTES: Final = 64 * 1024
"""So many bytes are a batch of their own, whatever the time."""
LONG_AGO_S: Final = -float("inf")


class HandOver:
    """The lanes of one event loop. `ask` may be called from any thread, all else belongs to the loop."""

    def __init__(self) -> None:
        self.reader = PortReader()
        """Where the ports are read, on systems where they can be together."""
        self._lanes: list[Lane] = []
        self._guard = threading.Lock()
        self._asked = False

    def add(self, lane: Lane) -> None:
        """A port is opened."""
        self._lanes.append(lane)

    def remove(self, lane: Lane) -> None:
        """A port is closed, perhaps not for the first time: what still waits there is dropped."""
        if lane in self._lanes:
            self._lanes.remove(lane)

    def ask(self) -> bool:
        """Whether the caller has to have `deliver` called on the loop: nobody else has asked yet."""
        # In one step: a delivery that began between look and note would leave all later lines waiting.
        with self._guard:
            asked, self._asked = self._asked, True
        return not asked

    def deliver(self) -> None:
        """Hands on what waits, port by port."""
        with self._guard:
            self._asked = False  # before anything is taken: what comes later asks again
        for lane in tuple(self._lanes):
            lane.deliver()


class Lane:
    """Chunks of one port in order of arrival: `put` by its thread, `deliver` on the loop."""

    def __init__(self, hooks: TransportHooks, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._hooks, self._clock_s = hooks, clock_s
        self._guard = threading.Lock()
        self._chunks: list[Chunk] = []
        self._since_s = LONG_AGO_S
        self._line_since_s: float | None = None
        self._delivered_s = LONG_AGO_S
        self.waiting_bytes = 0

    def put(self, data: bytes) -> bool:
        """Stamps bytes that have just arrived; True when the loop should have them now."""
        chunk, now_s = (data, self._hooks.now_ns()), self._clock_s()
        with self._guard:
            if not self._chunks:
                self._since_s = now_s
            self._chunks.append(chunk)
            self.waiting_bytes += len(data)
            return self._is_due(now_s, self._hooks.line_end in data)

    def deliver(self) -> None:
        """Hands on what waits."""
        with self._guard:
            chunks, self._chunks, self.waiting_bytes = self._chunks, [], 0
            self._line_since_s = None
        if chunks:
            self._delivered_s = self._clock_s()
            self._hooks.on_data(chunks)

    def collect(self) -> None:
        """Hands on what waits; when nothing does, the next bytes will not wait."""
        if self.waiting_bytes:
            self.deliver()
        else:
            self._delivered_s = LONG_AGO_S

    def _is_due(self, now_s: float, line_ends: bool) -> bool:
        """The first line after a while goes on at once. Of others one may wait for the next, but not for two:
        half a batch is less than the time between two lines. Without any end of a line it is another dialect."""
        batch_s = self._hooks.batch_s
        if not line_ends:
            return self.waiting_bytes > MOST_BATCH_BYTES or now_s - self._since_s >= 2 * batch_s
        if now_s - self._delivered_s >= batch_s or self.waiting_bytes > MOST_BATCH_BYTES:
            return True
        if self._line_since_s is None:
            self._line_since_s = now_s
            return False
        return now_s - self._line_since_s >= batch_s / 2
