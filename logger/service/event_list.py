"""The newest events as watchers see them."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence

from logger.core.run.events import Event
from logger.core.run.marks import event_mark
from logger.core.run.run import Run
from logger.core.run.words import event_level, event_text
from logger.core.snapshot import EventView

EVENTS_SHOWN = 60


class EventList:
    """Those of one run at a time, oldest first, numbered over all runs."""

    def __init__(self) -> None:
        self._events: deque[EventView] = deque(maxlen=EVENTS_SHOWN)
        self._count = 0

    def __iter__(self) -> Iterator[EventView]:
        return iter(self._events)

    def clear(self) -> None:
        """A new run begins."""
        self._events.clear()

    def show(self, events: Sequence[Event], run: Run | None) -> None:
        """Events that have just happened to `run`."""
        for event in events:
            self._count += 1
            elapsed_s = None if run is None else run.facts.elapsed_s(event.at_ns)
            self._events.append(
                EventView(
                    seq=self._count,
                    utc=event.utc,
                    kind=event.kind.value,
                    level=event_level(event),
                    text=event_text(event.kind, event.data),
                    mark=event_mark(event),
                    elapsed_s=elapsed_s,
                    effective_s=None if run is None or elapsed_s is None else run.pressure.effective_s,
                )
            )
