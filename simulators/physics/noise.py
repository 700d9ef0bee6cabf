"""Coloured noise made as time goes by: the same statistics for any step, the same numbers for the same steps."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

WINDOW_S = 600.0
"""The rms of 1/f noise has no meaning without a time: it is stated over a blank run of 10 min."""

FASTEST_S = 0.03
SLOWEST_S = 300.0
RELAXATIONS = 13
"""One relaxation every third of a decade makes the sum of them fall as 1/f within a few percent."""

BLOCK = 256


def _share_seen_in_window(tau_s: NDArray[np.float64], window_s: float) -> NDArray[np.float64]:
    """Variance of one relaxation about its own mean over the window, as a share of its whole variance."""
    ratio = tau_s / window_s
    return np.asarray(1.0 - 2.0 * ratio * (1.0 - ratio * (1.0 - np.exp(-1.0 / ratio))))


class Flicker:
    """1/f noise with a given rms over a window of 10 min, as a sum of independent relaxations."""

    def __init__(self, rms: float, rng: np.random.Generator) -> None:
        self._rng = rng
        self._tau_s = np.geomspace(FASTEST_S, SLOWEST_S, RELAXATIONS)
        seen = float(np.sum(_share_seen_in_window(self._tau_s, WINDOW_S)))
        self._sd = rms / math.sqrt(seen)
        self._state = self._sd * rng.standard_normal(RELAXATIONS)
        self._block = np.empty((0, RELAXATIONS))
        self._used = 0
        self._dt_s = -1.0
        self._keep = np.ones(RELAXATIONS)
        self._fresh = np.zeros(RELAXATIONS)

    def step(self, dt_s: float) -> float:
        """The noise `dt_s` seconds on, in the unit of the rms."""
        if dt_s != self._dt_s:
            self._dt_s = dt_s
            self._keep = np.exp(-dt_s / self._tau_s)
            self._fresh = self._sd * np.sqrt(1.0 - self._keep**2)
        if self._used >= len(self._block):
            self._block = self._rng.standard_normal((BLOCK, RELAXATIONS))
            self._used = 0
        self._state = self._state * self._keep + self._fresh * self._block[self._used]
        self._used += 1
        return float(self._state.sum())


class Ripple:
    """Noise of one relaxation time: what a fan does to the pressure. `sd` in any unit."""

    def __init__(self, sd: float, tau_s: float, rng: np.random.Generator) -> None:
        self._sd = sd
        self._tau_s = tau_s
        self._white = White(1.0, rng)
        self._value = sd * self._white.step()

    def step(self, dt_s: float) -> float:
        """The noise `dt_s` seconds on."""
        keep = math.exp(-dt_s / self._tau_s)
        self._value = self._value * keep + self._sd * math.sqrt(1.0 - keep * keep) * self._white.step()
        return self._value


class White:
    """Independent normal numbers of standard deviation `sd`, drawn in blocks."""

    def __init__(self, sd: float, rng: np.random.Generator) -> None:
        self._sd = sd
        self._rng = rng
        self._block: list[float] = []

    def step(self) -> float:
        """The next number."""
        if not self._block:
            self._block = self._rng.standard_normal(BLOCK).tolist()
        return self._sd * self._block.pop()
