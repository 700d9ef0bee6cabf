"""What the host does with time: steps of the wall clock, and sleep that the bench clock does not count."""

from __future__ import annotations

from logger.core.ports import Clock

CLOCK_STEP_S = 1.0
"""A wall clock that moves this much against the monotonic one was stepped."""
SUSPEND_S = 2.0
"""Host sleep beyond this makes an open run invalid: nobody watched."""
UNSET_CLOCK = "2024"
"""A computer that shows an earlier year has not been told the time since it was switched on."""


def clock_unset(utc: str) -> bool:
    """Whether a wall clock that shows this cannot be right."""
    return utc < UNSET_CLOCK


class ClockWatch:
    """Look without a run as well: what happened before a run is none of its business."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._wall_offset_s = clock.wall_offset_s()
        self._suspended_s = clock.suspended_s()

    def look(self) -> tuple[float, float]:
        """The step of the wall clock and the host's sleep since the last look, s; 0 where it is not worth a word."""
        offset_s, suspended_s = self._clock.wall_offset_s(), self._clock.suspended_s()
        step_s, slept_s = offset_s - self._wall_offset_s, suspended_s - self._suspended_s
        if abs(step_s) > CLOCK_STEP_S:
            self._wall_offset_s = offset_s
        self._suspended_s = suspended_s
        return step_s if abs(step_s) > CLOCK_STEP_S else 0.0, slept_s if slept_s > SUSPEND_S else 0.0
