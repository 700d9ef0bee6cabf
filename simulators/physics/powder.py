"""The powder on the sieve as a population balance: every size class passes at its own rate.

dm_i/dt = -k0 e_i phi x m_i + what breaks out of agglomerates and off the oversize, where e_i is the ease of
passing, phi the open share of the mesh and x = (dP/dP0)^n the strength of the jet. Between two updates the
jet is taken as constant and each class decays as an exact exponential.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulators.physics.mesh import Mesh, class_edges_um, ease_of_passing, log_normal_below

LONGEST_STEP_S = 0.5
"""Blinding and passing act on each other; longer updates are cut into steps of this length."""

NEAR_MESH = 0.75
"""Grains from this share of the aperture up are called near-mesh (common practice)."""

LID_FILLS_IN_MIN = 0.5
MIN_PER_S = 1.0 / 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """One log-normal part of the powder: its share of the mass, median size in µm, sigma_g = d84/d50."""

    share: float
    d50_um: float
    sigma_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Powder:
    """A powder of our own invention. Rates are per minute at nominal pressure on an open mesh."""

    modes: tuple[Mode, ...]
    passing_per_min: float
    exponent: float = 2.0
    pressure_exponent: float = 1.0
    agglomerate_share: float = 0.0
    breaking_per_min: float = 0.0
    attrition_per_min: float = 0.0
    blinding_per_min: float = 0.0
    clearing_per_min: float = 0.3
    water_share: float = 0.0
    drying_per_min: float = 0.0
    lid_share: float = 0.002
    """Share of the charge that ends up on the underside of the lid (0.1 to 0.5 % is common practice)."""


@dataclass(frozen=True, slots=True)
class BedInputs:
    """Pressure across the sieve, and the pressure the powder's rates are stated for, in Pa."""

    dp_pa: float
    dp_nominal_pa: float


@dataclass(frozen=True, slots=True)
class BedOutputs:
    """Masses in g; `rate_g_per_min_nominal` is what the load would lose now at nominal pressure."""

    load_g: float
    lid_g: float
    passed_g: float
    evaporated_g: float
    open_share: float
    rate_g_per_min_nominal: float


class Bed:
    """One test portion on one sieve, from pouring to brushing off."""

    def __init__(self, powder: Powder, mesh: Mesh, now_s: float = 0.0) -> None:
        self.powder = powder
        edges = class_edges_um(mesh)
        self.size_um: NDArray[np.float64] = 0.5 * (edges[1:] + edges[:-1])
        self.k_per_min: NDArray[np.float64] = powder.passing_per_min * ease_of_passing(
            self.size_um, mesh, powder.exponent
        )
        self._dry_shares = _class_shares(powder, edges)
        self._near = (self.size_um >= NEAR_MESH * mesh.aperture_um) & (self.k_per_min > 0)
        self._fine = self.size_um < 0.5 * mesh.aperture_um
        self._oversize = self.k_per_min == 0
        self._lump_shares = self._dry_shares * self._fine
        self._lump_shares /= max(float(self._lump_shares.sum()), 1e-12)
        self.mass_g: NDArray[np.float64] = np.zeros(len(self.size_um))
        self.lumps_g = 0.0
        self.water_g = 0.0
        self.lid_g = 0.0
        self.passed_g = 0.0
        self.evaporated_g = 0.0
        self.charge_g = 0.0
        self.open_share = 1.0
        self._now_s = now_s

    def add(self, mass_g: float) -> None:
        """Pours `mass_g` of fresh powder on the sieve."""
        powder = self.powder
        dry_g = mass_g * (1.0 - powder.water_share)
        lumps_g = dry_g * powder.agglomerate_share
        self.mass_g = self.mass_g + dry_g * self._dry_shares - lumps_g * self._lump_shares
        self.lumps_g += lumps_g
        self.water_g += mass_g * powder.water_share
        self.charge_g += mass_g

    def take(self, mass_g: float) -> float:
        """Takes powder off the sieve, all sizes alike; returns how much it was (never more than is there).

        Before the jet was on this makes the test portion smaller; afterwards it is a loss.
        """
        load = self.load_g
        taken = min(mass_g, load)
        left = 1.0 - taken / load if load > 0 else 0.0
        self.mass_g = self.mass_g * left
        self.lumps_g *= left
        self.water_g *= left
        if self.passed_g == 0:
            self.charge_g -= taken
        return taken

    def tap_lid(self, share: float) -> None:
        """Lets this share of the dust on the lid fall back on the sieve."""
        falls = self.lid_g * share
        self.lid_g -= falls
        self.mass_g = self.mass_g + falls * self._lump_shares

    def crush_lumps(self, share: float) -> None:
        """Breaks this share of the agglomerates at once, as a brush does."""
        self._break_lumps(share)

    @property
    def load_g(self) -> float:
        """Everything that lies on the mesh."""
        return float(self.mass_g.sum()) + self.lumps_g + self.water_g

    def rate_g_per_min_nominal(self) -> float:
        """What the load would lose now at nominal pressure: powder through the mesh and water."""
        passing = float(self.k_per_min @ self.mass_g) * self.open_share
        return passing + self.water_g * self.powder.drying_per_min

    def update(self, now_s: float, inputs: BedInputs) -> BedOutputs:
        """Sieves until `now_s` at the given pressure."""
        strength = (max(inputs.dp_pa, 0.0) / inputs.dp_nominal_pa) ** self.powder.pressure_exponent
        left_s = now_s - self._now_s
        while left_s > 1e-12 and strength > 0:
            step_s = min(left_s, LONGEST_STEP_S)
            self._sieve(strength * step_s * MIN_PER_S)
            left_s -= step_s
        self._now_s = max(now_s, self._now_s)
        return BedOutputs(
            self.load_g,
            self.lid_g,
            self.passed_g,
            self.evaporated_g,
            self.open_share,
            self.rate_g_per_min_nominal(),
        )

    def _sieve(self, theta_min: float) -> None:
        powder = self.powder
        self._feed(0.5 * theta_min)
        self._pass(theta_min)
        self._feed(0.5 * theta_min)
        if powder.blinding_per_min:
            self._blind(theta_min)
        if self.water_g:
            dried = self.water_g * -math.expm1(-powder.drying_per_min * theta_min)
            self.water_g -= dried
            self.evaporated_g += dried
        self._dust_the_lid(theta_min)

    def _feed(self, theta_min: float) -> None:
        """Fines out of lumps and off the oversize; half before and half after what passes meanwhile."""
        if self.lumps_g:
            self._break_lumps(-math.expm1(-self.powder.breaking_per_min * theta_min))
        if self.powder.attrition_per_min:
            self._wear(-math.expm1(-self.powder.attrition_per_min * theta_min))

    def _pass(self, theta_min: float) -> None:
        lost = self.mass_g * -np.expm1(self.k_per_min * (-self.open_share * theta_min))
        self.mass_g = self.mass_g - lost
        self.passed_g += float(lost.sum())

    def _break_lumps(self, share: float) -> None:
        broken_g = self.lumps_g * share
        self.lumps_g -= broken_g
        self.mass_g = self.mass_g + broken_g * self._lump_shares

    def _wear(self, share: float) -> None:
        worn = self.mass_g * self._oversize * share
        self.mass_g = self.mass_g - worn
        self.mass_g[0] += float(worn.sum())

    def _blind(self, theta_min: float) -> None:
        """d(phi)/dt = -kb (near-mesh share) phi + kc (1 - phi), solved with the near-mesh share held."""
        near = float(self.mass_g[self._near].sum()) / self.charge_g if self.charge_g else 0.0
        clogs = self.powder.blinding_per_min * near
        clears = self.powder.clearing_per_min
        rest = clears / (clogs + clears) if clogs + clears else 1.0
        self.open_share = rest + (self.open_share - rest) * math.exp(-(clogs + clears) * theta_min)

    def _dust_the_lid(self, theta_min: float) -> None:
        room_g = self.powder.lid_share * self.charge_g - self.lid_g
        fines = self.mass_g * self._fine
        there_g = float(fines.sum())
        if room_g <= 0 or there_g <= 0:
            return
        cloud = min(1.0, there_g / (0.05 * self.charge_g))
        sticks_g = min(room_g * cloud * -math.expm1(-theta_min / LID_FILLS_IN_MIN), there_g)
        self.mass_g = self.mass_g - fines * (sticks_g / there_g)
        self.lid_g += sticks_g


def _class_shares(powder: Powder, edges_um: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of the mass in each class; what is finer or coarser than all classes joins the outermost."""
    below = np.zeros(len(edges_um))
    total = sum(mode.share for mode in powder.modes)
    for mode in powder.modes:
        below += [
            mode.share / total * log_normal_below(float(d), mode.d50_um, mode.sigma_g) for d in edges_um
        ]
    below[-1] = 1.0
    return np.diff(below)
