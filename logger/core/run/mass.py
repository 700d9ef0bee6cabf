"""Follows the balance: its last reading and whether a weighing may be taken from it."""

from __future__ import annotations

from dataclasses import dataclass

from logger.core.readings import Quality, Reading

STABLE_HOLD_S = 1.0
"""The display must have stood still this long before a weighing is taken (common practice: 1 to 3 s)."""


@dataclass(slots=True)
class MassTracker:
    """Feed it every balance reading in order. Masses in g, times in ns on the bench clock."""

    resolution_g: float
    gap_s: float
    last: Reading | None = None
    last_good_ns: int | None = None
    changed_ns: int | None = None
    """When the display last showed another number than before."""
    unsteady_since_ns: int | None = None
    """Since when there has been no standing still, None while it stands still."""
    _shown_g: float | None = None
    _steady_since_ns: int | None = None
    _steady_g: float = 0.0
    _down: bool = False

    def add(self, reading: Reading) -> None:
        """One reading of any quality."""
        usable = reading.quality is Quality.OK and reading.value is not None
        gap = self.last_good_ns is not None and reading.at_ns - self.last_good_ns > self.gap_s * 1e9
        self.last = reading
        if usable and reading.value != self._shown_g:
            self.changed_ns, self._shown_g = reading.at_ns, reading.value
        if not usable or reading.value is None or reading.stable is False:
            self._steady_since_ns = None
        elif self._steady_since_ns is None or gap or abs(reading.value - self._steady_g) > 2 * self.digit_g:
            self._steady_since_ns, self._steady_g = reading.at_ns, reading.value
        self._note_unsteady(reading.at_ns)
        if usable:
            self.last_good_ns = reading.at_ns
            self._down = False

    def _note_unsteady(self, at_ns: int) -> None:
        since_ns = self._steady_since_ns
        if since_ns is not None and at_ns - since_ns >= STABLE_HOLD_S * 1e9:
            self.unsteady_since_ns = None
        elif self.unsteady_since_ns is None:
            self.unsteady_since_ns = at_ns

    def link_lost(self) -> None:
        """The link is known to be down: there is no mass until the next reading."""
        self._down = True
        self._steady_since_ns = None

    def silent_s(self, now_ns: int) -> float:
        """For how long there has been no usable reading; 0 while they are fresh."""
        if self.fresh(now_ns) or self.last_good_ns is None:
            return 0.0
        return (now_ns - self.last_good_ns) / 1e9

    @property
    def digit_g(self) -> float:
        """One digit of the display: the line's own where the instrument showed it, else the bench file's."""
        shown = self.last.resolution if self.last else None
        return max(shown or 0.0, self.resolution_g)

    def fresh(self, now_ns: int) -> bool:
        """Whether the link is up and the last usable reading younger than the gap limit."""
        known = self.last_good_ns is not None and not self._down
        return known and now_ns - (self.last_good_ns or 0) <= self.gap_s * 1e9

    def steady_g(self, now_ns: int) -> float | None:
        """The mass a weighing may take now, or None while the display moves, is stale or not a number."""
        held = self._steady_since_ns is not None and self.fresh(now_ns) and self.last is not None
        if not held or now_ns - (self._steady_since_ns or 0) < STABLE_HOLD_S * 1e9:
            return None
        return self.last.value if self.last else None

    def unsteady_s(self, now_ns: int) -> float:
        """For how long readings have come that never stood still; 0 while one stands still or none comes."""
        if self.unsteady_since_ns is None or not self.fresh(now_ns):
            return 0.0
        return (now_ns - self.unsteady_since_ns) / 1e9

    def why_not_steady(self, now_ns: int) -> str:
        """A sentence for the operator when `steady_g` is None."""
        if self.last is None or not self.fresh(now_ns):
            return "The balance gives no reading: check its cable and power, then try again."
        if self.last.quality is Quality.OVERLOAD:
            return "The balance shows overload: take load off the pan, then try again."
        if self.last.quality is Quality.UNDERLOAD:
            return "The balance shows underload: check that the pan sits right, then try again."
        if self.last.quality is not Quality.OK:
            return f"The balance sent a line that does not fit its profile: {self.last.raw!r}."
        return "The balance is not stable yet: wait for a steady reading, keep draughts and hands away."
