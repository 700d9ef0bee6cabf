"""Which events a chart of the run marks."""

from __future__ import annotations

import pytest

from logger.core.run.events import Event, EventKind
from logger.core.run.marks import event_mark


@pytest.mark.parametrize(
    ("kind", "data", "mark"),
    [
        (EventKind.HELD, {}, "held"),
        (EventKind.LOAD_WEIGHED, {}, "weighed"),
        (EventKind.NOTED, {"note": "lid-tapped"}, "tapped"),
        (EventKind.NOTED, {"note": "other"}, "noted"),
        (EventKind.DEVIATION, {"key": "load-step"}, "knocked"),
        (EventKind.DEVIATION, {"key": "typed-weight"}, ""),
        (EventKind.CHARGE_WEIGHED, {}, ""),
    ],
)
def test_marks(kind: EventKind, data: dict[str, str], mark: str) -> None:
    assert event_mark(Event(kind, 0, "2031-05-02T09:14:02Z", data)) == mark
