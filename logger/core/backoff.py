"""When to try a lost peer again: doubling waits, forgiven after a good spell, never a storm.

Pure: the caller passes the time (s, any monotonic clock) and the random number.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

_MINUTE_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RetryRules:
    """Waits in s. `slow_s` is for causes that only a person can remove (refusals, certificates)."""

    first_s: float = 1.0
    cap_s: float = 60.0
    good_after_s: float = 30.0
    """A link that held this long was good: the next wait starts at `first_s` again."""
    slow_s: float = 60.0
    most_per_minute: int = 10


class Retry:
    """One peer's attempts. Call `attempted` before each, `up` when it answered, `lost` when it ended."""

    def __init__(self, rules: RetryRules | None = None) -> None:
        self._rules = rules or RetryRules()
        self._failures = 0
        self._up_since_s: float | None = None
        self._attempts: deque[float] = deque(maxlen=self._rules.most_per_minute)

    @property
    def rules(self) -> RetryRules:
        """The waits in force."""
        return self._rules

    def attempted(self, now_s: float) -> None:
        """An attempt begins."""
        self._attempts.append(now_s)

    def up(self, now_s: float) -> None:
        """The peer answered."""
        self._up_since_s = now_s

    def lost(self, now_s: float) -> None:
        """The link ended; after a good spell the earlier failures are forgiven."""
        up_since_s, self._up_since_s = self._up_since_s, None
        if up_since_s is not None and now_s - up_since_s >= self._rules.good_after_s:
            self._failures = 0

    def wait_s(self, now_s: float, jitter: float, *, slow: bool = False) -> float:
        """How long to wait before the next attempt, counting one more failure.

        `jitter` in 0..1 takes up to a quarter off, so that many benches do not come back in step.
        """
        rules = self._rules
        doubled_s = min(rules.cap_s, rules.first_s * 2.0 ** min(self._failures, 30))
        self._failures += 1
        wait_s = (max(rules.slow_s, doubled_s) if slow else doubled_s) * (1.0 - 0.25 * jitter)
        return max(wait_s, self._room_in_s(now_s))

    def _room_in_s(self, now_s: float) -> float:
        """Seconds until one more attempt keeps to the most allowed in a minute."""
        if len(self._attempts) < self._rules.most_per_minute:
            return 0.0
        return max(0.0, self._attempts[0] + _MINUTE_S - now_s)
