"""The bench clock: monotonic, scaled together with a simulated rig."""

from __future__ import annotations

import time
from datetime import UTC, datetime


def utc_now() -> str:
    """Wall time, ISO 8601 in UTC with milliseconds and a Z."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class BenchClock:
    """Implements the Clock port. `speed` above 1 only makes sense with the simulated rig."""

    def __init__(self, speed: float = 1.0) -> None:
        self._speed = speed
        self._start_ns = time.monotonic_ns()
        self._asleep_s = self._slept_s()

    def now_ns(self) -> int:
        """Bench time in ns since the machine started (scaled from the clock's creation on)."""
        now_ns = time.monotonic_ns()
        if self._speed == 1.0:
            return now_ns
        return self._start_ns + int((now_ns - self._start_ns) * self._speed)

    def utc(self) -> str:
        """Wall time; never scaled."""
        return utc_now()

    def suspended_s(self) -> float:
        """Seconds of host sleep since the clock was made (0 where the system cannot tell)."""
        return self._slept_s() - self._asleep_s

    def wall_offset_s(self) -> float:
        """Wall time less monotonic time, s."""
        return time.time() - time.monotonic()

    @staticmethod
    def _slept_s() -> float:
        boot_clock = getattr(time, "CLOCK_BOOTTIME", None)
        return 0.0 if boot_clock is None else time.clock_gettime(boot_clock) - time.monotonic()
