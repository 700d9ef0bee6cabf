"""What was handed over and is not durable yet, in order, per run. Events are never dropped; readings have a limit."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, field

from logger.core.readings import Reading
from logger.core.run.events import Event

KEPT_READINGS = 200_000
"""Readings that wait in memory at most (some 60 MB): over an hour at 40 a second."""


@dataclass(slots=True)
class RunWork:
    """One run's part."""

    events: list[Event] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)


class Pending:
    """Safe from any thread. `take` shows, `drop` forgets what was shown: between them the disk is asked."""

    def __init__(self, kept: int = KEPT_READINGS) -> None:
        self._kept = kept
        self._lock = threading.Lock()
        self._work: dict[str, RunWork] = {}
        self._shown: dict[str, tuple[int, int]] = {}
        self.readings = 0
        """How many wait."""
        self.lost = 0
        """Readings that found no room."""

    def add(self, run_id: str, events: Sequence[Event], readings: Sequence[Reading]) -> bool:
        """False when readings found no room and were dropped."""
        with self._lock:
            work = self._work.setdefault(run_id, RunWork())
            work.events.extend(events)
            room = max(0, self._kept - self.readings)
            work.readings.extend(readings[:room])
            self.readings += min(room, len(readings))
            self.lost += max(0, len(readings) - room)
            return len(readings) <= room

    def room_min(self) -> float | None:
        """Bench minutes until readings find no room, at the pace of those that wait; None while unknown."""
        with self._lock:
            times = [
                r.at_ns for work in self._work.values() for r in (work.readings[:1] + work.readings[-1:])
            ]
            span_ns = max(times, default=0) - min(times, default=0)
            return (self._kept - self.readings) / self.readings * span_ns / 60e9 if span_ns > 0 else None

    def left(self) -> str:
        """What waits, in words; "" when nothing does."""
        with self._lock:
            events = sum(len(work.events) for work in self._work.values())
            return f"{self.readings} readings and {events} events" if self.readings or events else ""

    def take(self) -> dict[str, RunWork]:
        """Copies of what waits."""
        with self._lock:
            work = {run: RunWork(list(w.events), list(w.readings)) for run, w in self._work.items()}
        self._shown = {run: (len(w.events), len(w.readings)) for run, w in work.items()}
        return work

    def drop(self) -> None:
        """What `take` gave last is durable."""
        with self._lock:
            for run_id, (events, readings) in self._shown.items():
                work = self._work[run_id]
                del work.events[:events], work.readings[:readings]
                self.readings -= readings
                if not work.events and not work.readings:
                    del self._work[run_id]
        self._shown = {}
