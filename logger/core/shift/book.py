"""What the start of a shift and the worklist ask of the store."""

from __future__ import annotations

from typing import Protocol

from logger.core.register.state import RegisterState
from logger.core.shift.due import ShiftFacts
from logger.core.worklist.job import RunMade


class ShiftBook(Protocol):
    """Each call blocks for a read, so never on the event loop. Raises Refused when it cannot be read."""

    def state(self) -> RegisterState:
        """The register as it stands."""
        ...

    def facts(self, state: RegisterState) -> ShiftFacts:
        """Runs counted since the newest checks, and the newest backup; nothing of the rig."""
        ...

    def count_since(self, utc: str) -> int:
        """How many runs were started at or after a time."""
        ...

    def runs_since(self, utc: str) -> list[RunMade]:
        """Runs started at or after a time, oldest first."""
        ...

    def runs_of_sample(self, sample_id: str, lot: str, method_id: str, revision: int) -> list[RunMade]:
        """Runs of one sample by one method, oldest first."""
        ...
