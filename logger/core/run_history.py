"""One kept run as it is read back: its line in the list, every revision of its record, its events."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from logger.core.run.events import Event
from logger.core.run_list import RunLine


@dataclass(frozen=True, slots=True, kw_only=True)
class RunHistory:
    """`records` are the revisions of the record, oldest first, as JSON values; none while the run is open."""

    line: RunLine
    records: tuple[dict[str, Any], ...]
    events: tuple[Event, ...]

    def record(self, revision: int | None = None) -> dict[str, Any] | None:
        """The newest record, or that of this revision; None where there is none."""
        fitting = [body for body in self.records if revision in (None, body.get("revision"))]
        return fitting[-1] if fitting else None
