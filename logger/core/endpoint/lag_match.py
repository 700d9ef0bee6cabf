"""Which lag the balance has against the pressure transducer, told by the fan's ripple seen in both.

A balance filters its readings; a transducer follows at once. Without the match, ripple times coupling is
the largest noise left, and a coupling learned in the run comes out too small.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LAGS_S = (0.0, 0.15, 0.4, 0.8, 1.6)
"""Candidate time constants: bench balances filter over 0.2 to 2 s."""
BLOCKS_TO_TELL = 4
SWING = 6.0
"""A block whose pressure moves this many times more than usual is a sag or its end, not ripple."""


class LagMatch:
    """Keeps dP filtered with each candidate lag and the evidence for each."""

    def __init__(self) -> None:
        self._filtered: list[float] | None = None
        self._t = 0.0
        self._cross = np.zeros(len(LAGS_S))
        self._power = np.zeros(len(LAGS_S))
        self._blocks = 0
        self.best = 0

    def add(self, t_s: float, dp_pa: float) -> list[float]:
        """dP through each candidate lag, after a new reading."""
        if self._filtered is None:
            self._filtered = [dp_pa] * len(LAGS_S)
        else:
            step = t_s - self._t
            self._filtered = [
                dp_pa if lag <= 0 else old + (dp_pa - old) * -math.expm1(-step / lag)
                for old, lag in zip(self._filtered, LAGS_S, strict=True)
            ]
        self._t = t_s
        return self._filtered

    def learn(self, basis: Array, rest: Array, dp: Array) -> None:
        """One block: what level, slope and turns of the nozzle (`basis`) leave of mass (`rest`) and of dp."""
        dp = dp - basis @ (basis.T @ dp)
        power = (dp * dp).sum(axis=0)
        if self._blocks >= BLOCKS_TO_TELL and power[0] > SWING * self._power[0] / self._blocks:
            return
        self._cross += rest @ dp
        self._power += power
        self._blocks += 1
        if self._blocks >= BLOCKS_TO_TELL:
            self.best = int(np.argmax(self._cross * np.abs(self._cross) / np.maximum(self._power, 1e-12)))
