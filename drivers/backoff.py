"""When a link may be tried again. Pure: the time and the chance are arguments."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Final

WINDOW_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class BackOffPolicy:
    """The first attempt is made at once, the next after `first_s`, then twice as long each time up to
    `most_s`, each wait up to `jitter` longer by chance; never more than `per_minute` attempts in any minute.
    A link that was good for `good_s` starts again from the beginning.
    """

    first_s: float = 1.0
    most_s: float = 30.0
    jitter: float = 0.25
    per_minute: int = 10
    good_s: float = 30.0


class BackOff:
    """The attempts of one link."""

    def __init__(self, policy: BackOffPolicy) -> None:
        self._policy = policy
        self._attempts: deque[float] = deque(maxlen=policy.per_minute)
        self._next_s = 0.0
        self._failures = 0

    def wait_s(self, now_s: float) -> float:
        """How long to wait before the next attempt, 0 when it may be made now."""
        earliest = self._next_s
        if len(self._attempts) == self._policy.per_minute:
            earliest = max(earliest, self._attempts[0] + WINDOW_S)
        return max(0.0, earliest - now_s)

    def attempted(self, now_s: float, chance: float) -> None:
        """An attempt is made now; `chance` from 0 to 1 spreads the next one."""
        self._attempts.append(now_s)
        delay = min(self._policy.most_s, self._policy.first_s * 2.0 ** min(self._failures, 16))
        self._next_s = now_s + delay * (1.0 + self._policy.jitter * chance)
        self._failures += 1

    def good(self, good_for_s: float) -> None:
        """The link has been good for so long without a break."""
        if good_for_s >= self._policy.good_s:
            self._failures = 0
            self._next_s = 0.0
