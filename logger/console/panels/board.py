"""What the panels are given: the newest picture, the trace for the chart, and the last answer."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from logger.console.earlier import Earlier
from logger.console.trace import Trace
from logger.core.snapshot import Snapshot
from logger.service.client import Reply

View = Literal["load", "rate", "pressure", "weighings"]


@dataclass(slots=True)
class Board:
    """`snapshot` is old when not `answering`; `reply` is the last command's answer while it is shown."""

    snapshot: Snapshot
    answering: bool
    age_s: float
    problem: str
    trace: Trace = field(default_factory=Trace)
    reply: Reply | None = None
    earlier: Earlier = field(default_factory=Earlier)
    view: View | None = None
    """What was asked for with the view key, None while nothing was."""
