"""The differential-pressure transducer: a little late, a little off zero, with noise of its own."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simulators.physics.noise import White

SLOW_S = 1.5
"""Steady means that the reading agrees with its own slow average."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Transducer:
    """Lag, zero error and noise; `steady_share` of the reading, at least `steady_pa`, still counts as steady."""

    lag_s: float = 0.2
    zero_pa: float = 1.5
    noise_pa: float = 0.8
    steady_share: float = 0.05
    steady_pa: float = 6.0


@dataclass(frozen=True, slots=True)
class PressureOutput:
    """Suction in Pa as the transducer feels it, and whether it calls that steady."""

    dp_pa: float
    steady: bool


class PressureCell:
    """Follows the pressure across the sieve."""

    def __init__(self, spec: Transducer, rng: np.random.Generator, now_s: float = 0.0) -> None:
        self.spec = spec
        self._white = White(spec.noise_pa, rng)
        self._felt_pa = 0.0
        self._slow_pa = 0.0
        self._now_s = now_s

    def update(self, now_s: float, dp_pa: float) -> PressureOutput:
        """What it shows at `now_s`, the pressure having been `dp_pa` since the last update."""
        spec = self.spec
        dt_s = max(now_s - self._now_s, 0.0)
        self._now_s = now_s
        self._felt_pa = dp_pa + (self._felt_pa - dp_pa) * math.exp(-dt_s / spec.lag_s)
        self._slow_pa = self._felt_pa + (self._slow_pa - self._felt_pa) * math.exp(-dt_s / SLOW_S)
        allowed = max(spec.steady_pa, spec.steady_share * abs(self._felt_pa))
        steady = abs(self._felt_pa - self._slow_pa) <= allowed
        return PressureOutput(self._felt_pa + spec.zero_pa + self._white.step(), steady)
