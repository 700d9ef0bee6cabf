"""What the panels are given: the newest picture, the trace for the chart, and the last answer."""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.console.trace import Trace
from logger.core.snapshot import Snapshot
from logger.service.client import Reply


@dataclass(slots=True)
class Board:
    """`snapshot` is old when not `answering`; `reply` is the last command's answer while it is shown."""

    snapshot: Snapshot
    answering: bool
    age_s: float
    problem: str
    trace: Trace = field(default_factory=Trace)
    reply: Reply | None = None
    chart_wanted: bool | None = None
    """True chart, False weighings, None whichever suits the mode."""
