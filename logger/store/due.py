"""When the next commit is due. Time is an argument, so that the promise is tested without waiting."""

from __future__ import annotations

import threading


class Due:
    """Safe from any thread. Times in s on a monotonic clock."""

    def __init__(self) -> None:
        self._at_s: float | None = None
        self._lock = threading.Lock()

    def set(self, at_s: float) -> bool:
        """Due at `at_s`, unless it is due already. True when it was not."""
        with self._lock:
            if self._at_s is not None:
                return False
            self._at_s = at_s
            return True

    def clear(self) -> None:
        """Nothing is due."""
        with self._lock:
            self._at_s = None

    @property
    def is_set(self) -> bool:
        """Whether something is due, now or later."""
        with self._lock:
            return self._at_s is not None

    def wait_s(self, now_s: float) -> float | None:
        """How long until it is due: 0 when it is, None when nothing is."""
        with self._lock:
            return None if self._at_s is None else max(0.0, self._at_s - now_s)
