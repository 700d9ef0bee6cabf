"""Dust extractor, filter, bleed valve and sieve: which pressure stands across the sieve, and how it ripples.

Fan: dp = dp0 - s Q - c Q^2, scaled with the square of its speed. Filter: a laminar resistance that grows
with dust. Nozzle slot, mesh, bleed valve and leaks: sharp openings, Q = K sqrt(dp). The operating point is
then a quadratic in sqrt(dp) with one positive root. Flows in m3/h, pressures in Pa.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from simulators.physics.noise import Ripple


@dataclass(frozen=True, slots=True, kw_only=True)
class Extractor:
    """Figures of an ordinary dust extractor (20 kPa shut-off, 180 m3/h free flow: common practice).

    Openings are given as K in m3/h per sqrt(Pa). `ripple` is the fan's share of noise, `nozzle_ripple` the
    amplitude of the part that comes once per nozzle revolution, both as a share of the pressure.
    """

    shut_off_pa: float = 20_000.0
    slope_pa_per_m3h: float = 40.0
    curve_pa_per_m3h2: float = 0.395
    filter_pa_per_m3h: float = 20.0
    filter_gain_per_g: float = 0.0005
    filter_gain_per_h: float = 0.02
    nozzle_k: float = 0.9
    mesh_k: float = 2.0
    bleed_k: float = 4.0
    leak_k: float = 2.5
    open_k: float = 12.0
    spin_up_s: float = 1.5
    spin_down_s: float = 3.0
    ripple: float = 0.012
    ripple_s: float = 0.15
    nozzle_ripple: float = 0.006
    nozzle_rpm: float = 20.0


@dataclass(frozen=True, slots=True)
class ExtractorInputs:
    """What hands and powder do to the air. Shares are 0 to 1; `sag` is the missing share of pressure."""

    on: bool
    valve: float
    sieve_closed: bool
    open_share: float = 1.0
    passed_g: float = 0.0
    leak: float = 0.0
    sag: float = 0.0


@dataclass(frozen=True, slots=True)
class ExtractorOutputs:
    """Pressure across the sieve in Pa, flow through the fan in m3/h, nozzle turns since the start."""

    dp_pa: float
    flow_m3_h: float
    nozzle_turns: float


def sieve_k(spec: Extractor, open_share: float) -> float:
    """Nozzle slot and mesh one behind the other; a blinded mesh lets less through."""
    mesh_k = spec.mesh_k * max(open_share, 0.02)
    return 1.0 / math.sqrt(1.0 / spec.nozzle_k**2 + 1.0 / mesh_k**2)


def operating_point(spec: Extractor, speed: float, filter_pa_per_m3h: float, k: float) -> tuple[float, float]:
    """Pressure in Pa and flow in m3/h where fan, filter and openings of sum `k` agree; `speed` 0 to 1."""
    a = 1.0 + spec.curve_pa_per_m3h2 * k * k
    b = (spec.slope_pa_per_m3h * speed + filter_pa_per_m3h) * k
    c = spec.shut_off_pa * speed * speed
    root = (-b + math.sqrt(b * b + 4.0 * a * c)) / (2.0 * a)
    return root * root, k * root


def valve_for(spec: Extractor, dp_pa: float, filter_pa_per_m3h: float, k_sieve: float) -> float:
    """Valve opening (0 to 1) that gives `dp_pa` at full speed with this sieve, as near as it goes."""
    s = spec.slope_pa_per_m3h + filter_pa_per_m3h
    c = spec.curve_pa_per_m3h2
    flow = (-s + math.sqrt(s * s + 4.0 * c * (spec.shut_off_pa - dp_pa))) / (2.0 * c)
    return min(max((flow / math.sqrt(dp_pa) - k_sieve) / spec.bleed_k, 0.0), 1.0)


class Suction:
    """The extractor with its filter and the nozzle drive, which runs while suction is on."""

    def __init__(self, spec: Extractor, rng: np.random.Generator, now_s: float = 0.0) -> None:
        self.spec = spec
        self._ripple = Ripple(spec.ripple, spec.ripple_s, rng)
        self._phase = float(rng.random())
        self._speed = 0.0
        self._turns = 0.0
        self._on_s = 0.0
        self._dust_g = 0.0
        self._passed_g = 0.0
        self._now_s = now_s

    @property
    def filter_pa_per_m3h(self) -> float:
        """Resistance of the filter as loaded now."""
        spec = self.spec
        gain = spec.filter_gain_per_g * self._dust_g + spec.filter_gain_per_h * self._on_s / 3600.0
        return spec.filter_pa_per_m3h * (1.0 + gain)

    def update(self, now_s: float, inputs: ExtractorInputs) -> ExtractorOutputs:
        """Pressure and flow at `now_s`, the inputs having held since the last update."""
        dt_s = max(now_s - self._now_s, 0.0)
        self._now_s = now_s
        self._turn(dt_s, inputs)
        self._load_filter(dt_s, inputs)
        dp_pa, flow = operating_point(self.spec, self._speed, self.filter_pa_per_m3h, self._openings(inputs))
        return ExtractorOutputs(dp_pa * self._rippled(dt_s) * (1.0 - inputs.sag), flow, self._turns)

    def _turn(self, dt_s: float, inputs: ExtractorInputs) -> None:
        spec = self.spec
        target, tau_s = (1.0, spec.spin_up_s) if inputs.on else (0.0, spec.spin_down_s)
        self._speed = target + (self._speed - target) * math.exp(-dt_s / tau_s)
        if inputs.on:
            self._turns += dt_s * spec.nozzle_rpm / 60.0

    def _load_filter(self, dt_s: float, inputs: ExtractorInputs) -> None:
        self._dust_g += max(inputs.passed_g - self._passed_g, 0.0)
        self._passed_g = inputs.passed_g
        self._on_s += dt_s if inputs.on else 0.0

    def _openings(self, inputs: ExtractorInputs) -> float:
        spec = self.spec
        through = sieve_k(spec, inputs.open_share) if inputs.sieve_closed else spec.open_k
        return through + spec.bleed_k * inputs.valve + spec.leak_k * inputs.leak

    def _rippled(self, dt_s: float) -> float:
        once = self.spec.nozzle_ripple * math.sin(2.0 * math.pi * (self._turns + self._phase))
        return 1.0 + once + self._ripple.step(dt_s)
