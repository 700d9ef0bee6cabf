"""The balance, beside the rig or under it: filter, noise, drift, tare, readability, stability, overload.

Under the rig the force of the suction is internal to what it carries; what is left is an apparent mass that
follows the pressure, and the nozzle's rotation. A balance beside the rig has both at zero.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import Literal

import numpy as np

from simulators.physics.noise import Flicker, White

BUMP_S = 0.5
"""A knock dies away with this time constant."""

State = Literal["ok", "overload", "underload"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Figures of a balance. Noise is what the display would show unrounded; wobble is per kPa of suction."""

    readability_g: float
    capacity_g: float
    lowest_g: float
    filter_s: float
    white_sd_g: float
    flicker_rms_g: float
    drift_g_per_min: float = 0.0
    dead_load_g: float = 0.0
    coupling_g_per_kpa: float = 0.0
    coupling2_g_per_kpa2: float = 0.0
    wobble1_g_per_kpa: float = 0.0
    wobble2_g_per_kpa: float = 0.0
    jet_noise_g_per_kpa: float = 0.0
    stable_digits: float = 2.0
    stable_s: float = 1.0


@dataclass(frozen=True, slots=True)
class BalanceInputs:
    """Mass on the pan in g (without the dead load), suction in Pa, nozzle turns."""

    on_pan_g: float
    dp_pa: float = 0.0
    nozzle_turns: float = 0.0


@dataclass(frozen=True, slots=True)
class BalanceOutput:
    """Displayed mass in g (a whole number of digits), the digit in g, and the display's marks."""

    mass_g: float
    digit_g: float
    stable: bool
    state: State


class Balance:
    """One balance; switched on and tared with nothing but its dead load at the start."""

    def __init__(self, spec: Scale, rng: np.random.Generator, now_s: float = 0.0) -> None:
        self.spec = spec
        self._flicker = Flicker(spec.flicker_rms_g, rng)
        self._white = White(1.0, rng)
        self._phase = float(rng.random())
        self._filtered_g = spec.dead_load_g
        self._zero_g = spec.dead_load_g
        self._drift_g = 0.0
        self._knock_g = 0.0
        self._shift_g = 0.0
        self._unrounded_g = 0.0
        self._seen: deque[float] = deque(maxlen=2)
        self._now_s = now_s

    def tare(self) -> None:
        """Tare or zero pressed: what is shown now becomes zero."""
        self._zero_g += self._unrounded_g

    def bump(self, knock_g: float, shift_g: float = 0.0) -> None:
        """A knock that dies away, and a lasting shift (a hose that moved)."""
        self._knock_g += knock_g
        self._shift_g += shift_g

    def update(self, now_s: float, inputs: BalanceInputs) -> BalanceOutput:
        """The display at `now_s`, the inputs having held since the last update."""
        dt_s = max(now_s - self._now_s, 0.0)
        self._now_s = now_s
        self._drift_g += self.spec.drift_g_per_min * dt_s / 60.0
        self._knock_g *= math.exp(-dt_s / BUMP_S)
        felt_g = self._felt(inputs)
        self._filtered_g = felt_g + (self._filtered_g - felt_g) * math.exp(-dt_s / self.spec.filter_s)
        noise_g = self._flicker.step(dt_s) + self._white.step() * self._white_sd(inputs.dp_pa)
        self._unrounded_g = self._filtered_g - self._zero_g + self._drift_g + noise_g
        return self._show(self._filtered_g + self._drift_g, dt_s)

    def _felt(self, inputs: BalanceInputs) -> float:
        spec = self.spec
        kpa = inputs.dp_pa / 1000.0
        apparent = spec.coupling_g_per_kpa * kpa + spec.coupling2_g_per_kpa2 * kpa * kpa
        if spec.wobble1_g_per_kpa or spec.wobble2_g_per_kpa:
            turn = 2.0 * math.pi * (inputs.nozzle_turns + self._phase)
            apparent += kpa * spec.wobble1_g_per_kpa * math.sin(turn)
            apparent += kpa * spec.wobble2_g_per_kpa * math.sin(2.0 * turn + 1.0)
        return spec.dead_load_g + inputs.on_pan_g + apparent + self._knock_g + self._shift_g

    def _white_sd(self, dp_pa: float) -> float:
        return math.hypot(self.spec.white_sd_g, self.spec.jet_noise_g_per_kpa * dp_pa / 1000.0)

    def _show(self, gross_g: float, dt_s: float) -> BalanceOutput:
        spec = self.spec
        mass_g = round(self._unrounded_g / spec.readability_g) * spec.readability_g
        state: State = "ok"
        if gross_g > spec.capacity_g:
            state = "overload"
        elif mass_g < spec.lowest_g:
            state = "underload"
        return BalanceOutput(mass_g, spec.readability_g, self._is_stable(dt_s), state)

    def _is_stable(self, dt_s: float) -> bool:
        """All that was shown in the last `stable_s` lies within a few digits."""
        length = max(2, round(self.spec.stable_s / dt_s)) if dt_s else 2
        if self._seen.maxlen != length:
            self._seen = deque(self._seen, maxlen=length)
        self._seen.append(self._unrounded_g)
        full = len(self._seen) == length
        return full and max(self._seen) - min(self._seen) <= self.spec.stable_digits * self.spec.readability_g
