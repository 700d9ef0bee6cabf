"""What a person is told while the store cannot be written, and when a run may start again. No clock, no files."""

from __future__ import annotations

from pathlib import Path

_MIB = 1024 * 1024


class Trouble:
    """The state of it, and its sentence."""

    def __init__(self, path: Path, floor_bytes: int) -> None:
        self._path, self._floor = path, floor_bytes
        self._failure = self._space = self._damage = ""
        self._loss_told = False

    @property
    def text(self) -> str | None:
        """One text for the screen; None while all is well."""
        return " ".join(part for part in (self._failure, self._damage, self._space) if part) or None

    def refusal(self, free: int) -> str:
        """Why no run can start now, "" when one can."""
        if self._failure:
            return f"No run can start: {self._failure}"
        return f"No run can start: {self._low(free)}" if free < self._floor else ""

    def failed(self, error: Exception, waiting: int, lost: int, room_min: float | None) -> None:
        """A commit failed; `waiting` readings are kept in memory, `lost` found no room."""
        room = "" if room_min is None else f", with room for about {room_min:.0f} min more"
        fate = f"{waiting} readings wait in memory{room}"
        if lost:
            fate = f"{lost} READINGS ARE LOST, {waiting} wait in memory"
        self._failure = (
            f"The store cannot be written: {str(error).rstrip('.')}. {fate}; they are written when it can be "
            "again. Keep the service running, make room on the disk or mend it."
        )

    def over(self) -> None:
        """The store can be written again."""
        self._failure, self._loss_told = "", False

    def damaged(self, found: str) -> None:
        """A check beside the work found a damaged page."""
        self._damage = (
            f"The store has damaged pages ({found}). Finish the run and restart the service: "
            "what can be read is then carried over into a new store."
        )

    def space(self, free: int) -> bool:
        """Look at the free space; True when the text changed."""
        low = free < self._floor
        changed = low != bool(self._space)
        self._space = self._low(free) if low else ""
        return changed

    def first_loss(self) -> bool:
        """True at the first loss since all was well."""
        first, self._loss_told = not self._loss_told, True
        return first

    def _low(self, free: int) -> str:
        return (
            f"Only {free / _MIB:.0f} MiB are free where {self._path} is; {self._floor / _MIB:.0f} MiB are needed "
            "for a run. Make room on that disk."
        )
