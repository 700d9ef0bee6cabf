"""A balance that shows the same digits for longer than powder, noise and digits allow."""

from __future__ import annotations

import math

CHANCE = 1e-6
"""A run of equal readings less likely than this is not chance."""
MEMORY = 60.0
"""Readings over which the share of equal neighbours is learned."""
FIRST_SHARE = 0.995
"""Coarse digits repeat naturally, for minutes in the rest: believed until the readings show otherwise."""
SHARE_RANGE = (0.02, 0.995)
ROUNDING = 1e-9


class FrozenWatch:
    """Decides reading by reading. Masses and `digit` in % of the charge."""

    def __init__(self, digit: float) -> None:
        self._digit = digit
        self._share = FIRST_SHARE
        self._last: float | None = None
        self._since = 0.0
        self.run = 0
        """Readings in the present run of equal digits."""

    def add(self, t_s: float, mass: float, rate_per_s: float, sd: float) -> bool:
        """Whether this reading is frozen. `rate_per_s`: expected fall (0 while unknown); `sd`: reading noise."""
        same = self._last is not None and abs(mass - self._last) < ROUNDING
        self._last = mass
        if not same:
            self._learn(self.run)
            self.run, self._since = 1, t_s
            return False
        self.run += 1
        if (self.run - 1) * math.log(self._share) < math.log(CHANCE):
            return True
        return rate_per_s * (t_s - self._since) > 2 * self._digit + 4 * sd

    def _learn(self, run: int) -> None:
        """A run has ended: `run` - 1 equal neighbours and one that differed."""
        if run == 0 or (run - 1) * math.log(self._share) < math.log(CHANCE):
            return
        keep = (1.0 - 1.0 / MEMORY) ** run
        self._share = keep * self._share + (1.0 - keep) * (run - 1) / run
        low, high = SHARE_RANGE
        self._share = min(max(self._share, low), high)
