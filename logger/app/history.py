"""The questions about the history, put together: the store answers them, the report's curves are drawn on screens."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from logger.app.paths import DataFolder
from logger.core.readings import Reading
from logger.core.run.events import Event
from logger.core.run.facts import RunFacts
from logger.report.run_curves import run_curves
from logger.service.history_queries import history_queries
from logger.service.queries import Handler
from logger.store.history_reader import StoreHistory


def questions(data: DataFolder) -> dict[str, Handler]:
    """What consoles may ask about the history of this bench."""
    return history_queries(StoreHistory(data.store), plain_curves)


def plain_curves(
    facts: RunFacts, events: Sequence[Event], readings: Iterable[Reading]
) -> Mapping[str, Any] | None:
    """The same curves as a report's, as JSON values."""
    found = run_curves(facts, events, readings)
    return None if found is None else asdict(found)
