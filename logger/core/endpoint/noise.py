"""How noisy this balance is today, learned from the run itself.

Differences of second order see neither a steady loss nor a steady drift. Between neighbouring blocks they
give the blocks' own noise; between groups of four they give the strength of the 1/f noise.
"""

from __future__ import annotations

import math
from collections import deque

from logger.core.endpoint.parameters import Tuning
from logger.core.rig import Rig

GROUPS_WORTH_RIG = 20.0
GROUPS_WORTH_DEFAULT = 5.0
MEDIAN_OF_CHI2 = 0.455
GROUP = 4
HADAMARD = 6.75
"""Variance of the second difference of adjacent means of K/f noise, in units of K: 3 ln(256/27)
(Hadamard variance of flicker noise, handbook of frequency stability; from memory, checked by simulation)."""
FLICKER_IN_NEIGHBOURS = HADAMARD / 6.0
"""What K/f noise adds to the variance that second differences of neighbouring means tell, in units of K."""


def _median(values: list[float]) -> float:
    """Upper median; for a few dozen numbers much faster than an array routine."""
    return sorted(values)[len(values) // 2]


class BlockNoise:
    """Noise variance of a block of the usual size, robust against a few odd ones."""

    def __init__(self, first_var: float) -> None:
        self.var = first_var
        self._levels: deque[tuple[float, float]] = deque(maxlen=3)
        self._squares: deque[float] = deque(maxlen=40)

    def restart(self) -> None:
        """Forget the level: the next differences must not straddle a step."""
        self._levels.clear()

    def add(self, level: float, weight: float) -> None:
        """`level`: block mean less the predicted fall; `weight`: readings in it over the usual number."""
        self._levels.append((level, weight))
        if len(self._levels) < 3:
            return
        (a, wa), (b, wb), (c, wc) = self._levels
        self._squares.append((a - 2 * b + c) ** 2 / (1 / wa + 4 / wb + 1 / wc))
        if len(self._squares) < 5:
            return
        recent = list(self._squares)
        found = min(_median(recent[-12:]), _median(recent)) / MEDIAN_OF_CHI2
        self.var *= (max(found, 1e-3 * self.var) / self.var) ** 0.25


class FlickerNoise:
    """Strength K of the K/f spectrum, between what the rig file says and what the run shows."""

    def __init__(self, density: float, worth: float) -> None:
        self._first, self._worth = density, worth
        self._group: list[float] = []
        self._means: deque[float] = deque(maxlen=3)
        self._squares: deque[float] = deque(maxlen=40)
        self._block_var = 0.0

    @classmethod
    def of_rig(cls, rig: Rig, tuning: Tuning, pct: float) -> FlickerNoise:
        """From the rig file's rms over 10 min (whole band), or from a default that the run soon corrects."""
        given = rig.flicker_rms_g
        rms = (given if given is not None else tuning.default_flicker_g) * pct
        density = rms * rms / math.log(300.0 * max(rig.sample_hz or 10.0, 0.5))
        return cls(max(density, 1e-14), GROUPS_WORTH_RIG if given is not None else GROUPS_WORTH_DEFAULT)

    def restart(self) -> None:
        """A new segment: groups must not straddle a step."""
        self._group.clear()
        self._means.clear()

    def add(self, level: float, block_var: float) -> None:
        """One block mean less the predicted fall; `block_var` is the blocks' own noise."""
        self._group.append(level)
        if len(self._group) < GROUP:
            return
        self._means.append(math.fsum(self._group) / GROUP)
        self._group.clear()
        if len(self._means) == 3:
            a, b, c = self._means
            self._squares.append((a - 2 * b + c) ** 2)
            self._block_var = block_var

    @property
    def density(self) -> float:
        """The estimate now: a weighted mean, the rig file's figure counting as `worth` groups."""
        n = len(self._squares)
        if n < 3:
            return self._first
        total = _median(list(self._squares)) / MEDIAN_OF_CHI2
        white = 6 * self._block_var / GROUP
        found = max((total - white) / HADAMARD, 0.1 * self._first)
        share = HADAMARD * self._first / (HADAMARD * self._first + white)
        told = n * share * share
        return (self._worth * self._first + told * found) / (self._worth + told)
