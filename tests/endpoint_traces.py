"""Made-up runs with a known truth, for tests of the endpoint estimator only.

Independent of the project's simulators on purpose: powder and instrument are drawn anew for every seed, so
no list of scenarios can be tuned to. Powder: first order per size class, k = k0 (1 - d/a)^q over a spread of
apertures (Gaudin's geometry; Jansen & Glastonbury 1968, from memory), or a sum of exponentials;
agglomerates that break with their own rate. Balance: white and 1/f noise, a lag, digits, drift, the jet's
rotation, suction coupling. Trouble: spikes, bumps, gaps, frozen stretches, bunched stamps, sags, a filter
that loads.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from logger.core.method import Endpoint, Suction, Weighing
from logger.core.rig import Rig

Array = NDArray[np.float64]
Trouble = Literal[
    "spikes", "bump", "gap", "frozen", "bunched", "sag", "loading", "agglomerates", "no-dp-bits"
]
TROUBLES: tuple[Trouble, ...] = (
    "spikes",
    "bump",
    "gap",
    "frozen",
    "bunched",
    "sag",
    "loading",
    "agglomerates",
    "no-dp-bits",
)
TUNING_SEEDS = range(1, 100_000)
TEST_SEEDS = range(1_000_000, 2_000_000)


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """Balance and rig of one made-up bench (g, s, Hz, Pa)."""

    readability_g: float
    white_g: float
    flicker_g: float
    lag_s: float
    wobble_g: float
    nozzle_rpm: float
    sample_hz: float
    coupling_g_per_kpa: float
    coupling2_g_per_kpa2: float
    ripple: float
    drift_share: float
    """Constant drift as a share of the limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """Everything that defines a made-up run, apart from its noise."""

    charge_g: float
    limit: float
    rest_s: float
    instrument: Instrument
    troubles: frozenset[Trouble]
    powder_seed: int
    rig_full: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeRun:
    """A run with its truth: rate at nominal pressure on the run's own clock, load, and the crossing."""

    seed: int
    setting: Setting
    endpoint: Endpoint
    suction: Suction
    weighing: Weighing
    rig: Rig
    charge_g: float
    t_s: Array
    mass_g: Array
    dp_pa: Array
    true_t_s: Array
    true_rate: Array
    true_load_g: Array
    crossing_s: float
    notes: tuple[str, ...] = field(default=())

    def rate_at(self, t_s: float) -> float:
        return float(np.interp(t_s, self.true_t_s, self.true_rate))

    def load_at(self, t_s: float) -> float:
        return float(np.interp(t_s, self.true_t_s, self.true_load_g))


def draw_setting(rng: np.random.Generator, troubles: frozenset[Trouble] | None = None) -> Setting:
    """A bench, a charge and a limit within the ranges met in practice."""
    readability_g = float(rng.choice([0.001, 0.001, 0.002, 0.005, 0.01]))
    instrument = Instrument(
        readability_g=readability_g,
        white_g=readability_g * 10 ** rng.uniform(-0.6, 0.6),
        flicker_g=0.001 * 10 ** rng.uniform(-0.5, 0.75),
        lag_s=float(rng.choice([0.0, 0.2, 0.5, 1.0])),
        wobble_g=0.001 * 10 ** rng.uniform(-0.5, 1.3),
        nozzle_rpm=rng.uniform(15, 60),
        sample_hz=10 ** rng.uniform(0, 1.3),
        coupling_g_per_kpa=rng.uniform(0.05, 1.5),
        coupling2_g_per_kpa2=rng.normal(0, 0.02),
        ripple=rng.uniform(0.003, 0.02),
        drift_share=float(np.clip(rng.normal(0, 0.2), -0.35, 0.35)),
    )
    if troubles is None:
        chosen = rng.random(len(TROUBLES)) < 0.12
        troubles = frozenset(t for t, c in zip(TROUBLES, chosen, strict=True) if c)
    return Setting(
        charge_g=float(np.exp(rng.uniform(np.log(8), np.log(100)))),
        limit=float(rng.choice([0.05, 0.1, 0.1, 0.1, 0.2, 0.5])),
        rest_s=float(rng.choice([30, 60, 120])),
        instrument=instrument,
        troubles=troubles,
        powder_seed=int(rng.integers(1 << 30)),
        rig_full=bool(rng.random() < 0.7),
    )


def _powder(rng: np.random.Generator, agglomerates: bool) -> tuple[Array, Array]:
    """(shares of the charge in %, rate constants 1/s) of what can pass; the rest is residue."""
    if rng.random() < 0.2:
        k = np.array([rng.uniform(1, 4), rng.uniform(0.3, 1.0), rng.uniform(0.15, 0.4)]) / 60
        shares = np.array([100.0, rng.uniform(1, 12), rng.uniform(0, 4)])
        shares[0] = rng.uniform(60, 97) - shares[1:].sum()
        return shares, k
    u = np.linspace(0.02, 1.25, 160)
    n, scale, q = rng.uniform(0.8, 2.5), 10 ** rng.uniform(-0.75, 0.0), rng.uniform(1.6, 2.4)
    cumulative = 1 - np.exp(-((u / scale) ** n))
    mass = np.diff(cumulative, prepend=0.0)
    spread = rng.uniform(0.02, 0.12)
    nodes, weights = np.polynomial.hermite.hermgauss(7)
    apertures = 1 + spread * np.sqrt(2) * nodes
    weights = weights / weights.sum()
    k0 = 10 ** rng.uniform(-1.4, -0.6)
    k = sum(w * k0 * np.clip(1 - u / a, 0, None) ** q for w, a in zip(weights, apertures, strict=True))
    k = np.asarray(k)
    if agglomerates:
        share = rng.uniform(0.5, 6)
        mass = np.append(mass * (100 - share), share)
        return mass, np.append(k, rng.uniform(0.003, 0.02))
    return 100 * mass, k


def _kinetics(setting: Setting, theta_s: Array) -> tuple[Array, Array]:
    """Rate (%/min at nominal pressure) and load (% of charge) against effective time."""
    rng = np.random.default_rng(setting.powder_seed)
    for _ in range(200):
        shares, k = _powder(rng, "agglomerates" in setting.troubles)
        decay = np.exp(-np.outer(theta_s, k))
        rate = 60 * decay @ (shares * k)
        below = np.nonzero(rate <= setting.limit)[0]
        if below.size and 120 < theta_s[below[0]] < 800:
            return rate, 100 - (1 - decay) @ shares
    raise RuntimeError("no powder crosses the limit in time")


def flicker(rng: np.random.Generator, count: int, hz: float, rms_600_s: float) -> Array:
    """1/f noise shaped in the frequency domain; its rms over 600 s, whole band, is as asked."""
    size = 1 << int(np.ceil(np.log2(max(2 * count, 1200 * hz))))
    freqs = np.fft.rfftfreq(size, 1 / hz)
    density = rms_600_s**2 / np.log(300 * hz)
    amplitude = np.zeros_like(freqs)
    amplitude[1:] = np.sqrt(density / freqs[1:] * size * hz / 2)
    phases = rng.normal(size=freqs.size) + 1j * rng.normal(size=freqs.size)
    return np.fft.irfft(amplitude * phases / np.sqrt(2), size)[:count]


def _lagged(values: Array, t_s: Array, lag_s: float) -> Array:
    if lag_s <= 0:
        return values
    out = np.empty_like(values)
    state = values[0]
    for i, gain in enumerate(1 - np.exp(-np.diff(t_s, prepend=t_s[0]) / lag_s)):
        state += gain * (values[i] - state)
        out[i] = state
    return out


def _pressure(rng: np.random.Generator, setting: Setting, t_s: Array, dp0: float, band: float) -> Array:
    dp = dp0 * (1 + rng.uniform(-0.3, 0.3) * band / dp0) * (1 - np.exp(-np.clip(t_s, 0, None) / 1.5))
    wander = np.cumsum(rng.normal(size=t_s.size)) * np.sqrt(np.median(np.diff(t_s)))
    dp = dp * (1 + 0.001 * (wander - wander[0]) / 3)
    if "loading" in setting.troubles:
        dp = dp * (1 - rng.uniform(0.02, 0.8 * band / dp0) * np.clip(t_s, 0, None) / 900)
    if "sag" in setting.troubles:
        for _ in range(rng.integers(1, 3)):
            start, length = rng.uniform(60, 600), rng.uniform(3, 60)
            inside = (t_s > start) & (t_s < start + length)
            dp = np.where(inside, dp * rng.uniform(0.3, 0.9), dp)
    return np.where(t_s < 0, 0.0, np.clip(dp, 0, None))


def make_run(seed: int, setting: Setting | None = None) -> MadeRun:
    """The run of that seed; a given setting keeps powder and bench and redraws only noise and trouble."""
    rng = np.random.default_rng(seed)
    setting = setting or draw_setting(rng)
    inst = setting.instrument
    dp0, band = 2500.0, float(rng.choice([250.0, 375.0]))
    fine_t = np.arange(-setting.rest_s, 1300.0, 0.05)
    dp_true = _pressure(rng, setting, fine_t, dp0, band)
    theta = np.cumsum(np.clip(dp_true / dp0, 0, None)) * 0.05
    grid = np.arange(0.0, 1400.0, 0.5)
    rate_grid, load_grid = _kinetics(setting, grid)
    rate, load_pct = np.interp(theta, grid, rate_grid), np.interp(theta, grid, load_grid)
    load_g = load_pct * setting.charge_g / 100
    crossing = float(fine_t[np.nonzero((rate <= setting.limit) & (fine_t > 0))[0][0]])
    end_s = min(crossing + 400.0, 1295.0)

    hz = inst.sample_hz
    t_s = np.arange(-setting.rest_s, end_s, 1 / hz)
    t_s = np.sort(t_s + rng.uniform(-0.2, 0.2, t_s.size) / hz)
    kpa = np.interp(t_s, fine_t, dp_true) / 1000 * (1 + inst.ripple * rng.normal(size=t_s.size))
    force = inst.coupling_g_per_kpa * kpa + inst.coupling2_g_per_kpa2 * kpa**2
    turn = 2 * np.pi * inst.nozzle_rpm / 60 * t_s
    wobble = inst.wobble_g * (np.sin(turn + 1.0) + 0.4 * np.sin(2 * turn)) * (t_s > 0)
    drift_g_s = inst.drift_share * setting.limit * setting.charge_g / 6000
    mass = _lagged(np.interp(t_s, fine_t, load_g) + force + wobble, t_s, inst.lag_s) + drift_g_s * t_s
    mass = mass + flicker(rng, t_s.size, hz, inst.flicker_g) + inst.white_g * rng.normal(size=t_s.size)
    dp = 1000 * kpa + rng.normal(size=t_s.size) * 3
    t_s, mass, dp, notes = _trouble(rng, setting, t_s, mass, dp, crossing)
    mass = np.round(mass / inst.readability_g) * inst.readability_g
    return MadeRun(
        seed=seed,
        setting=setting,
        endpoint=Endpoint(rule="loss-rate", limit_pct_per_min=setting.limit, max_time_s=1300.0),
        suction=Suction(dp_pa=dp0, band_pa=band),
        weighing=Weighing(mode="live", rest_s=setting.rest_s),
        rig=_rig(rng, setting),
        charge_g=setting.charge_g,
        t_s=t_s,
        mass_g=mass,
        dp_pa=dp,
        true_t_s=fine_t,
        true_rate=rate,
        true_load_g=load_g,
        crossing_s=crossing,
        notes=notes,
    )


def _rig(rng: np.random.Generator, setting: Setting) -> Rig:
    inst = setting.instrument
    if not setting.rig_full:
        return Rig(readability_g=inst.readability_g)
    c = inst.coupling_g_per_kpa
    return Rig(
        readability_g=inst.readability_g,
        coupling_g_per_kpa=c * (1 + 0.03 * rng.normal()),
        coupling_u_g_per_kpa=0.03 * c,
        coupling2_g_per_kpa2=inst.coupling2_g_per_kpa2,
        flicker_rms_g=inst.flicker_g * np.exp(0.2 * rng.normal()),
        white_sd_g=inst.white_g,
        nozzle_rpm=inst.nozzle_rpm,
        sample_hz=inst.sample_hz,
    )


def _trouble(
    rng: np.random.Generator, setting: Setting, t_s: Array, mass: Array, dp: Array, crossing: float
) -> tuple[Array, Array, Array, tuple[str, ...]]:
    """Puts the setting's trouble into the readings, most of it near the crossing where it hurts."""
    notes: list[str] = []
    q, hz = setting.instrument.readability_g, setting.instrument.sample_hz
    mass, dp = mass.copy(), dp.copy()

    def moment() -> float:
        return float(crossing + rng.uniform(-200, 20))

    if "spikes" in setting.troubles:
        hit = (rng.random(t_s.size) < 0.002) & (t_s > 5)
        mass[hit] += rng.normal(size=hit.sum()) * 200 * q
    if "bump" in setting.troubles:
        for _ in range(rng.integers(1, 3)):
            at, size = moment(), rng.choice([-1, 1]) * 10 ** rng.uniform(-2.3, 0)
            mass[t_s > at] += size
            notes.append(f"bump {size * 1000:.0f} mg at {at:.0f} s")
    if "no-dp-bits" in setting.troubles:
        at = moment()
        dp[(t_s > at) & (t_s < at + rng.uniform(1, 20))] = np.nan
    if "frozen" in setting.troubles:
        at, length = moment(), rng.uniform(3, 30)
        inside = (t_s > at) & (t_s < at + length)
        if inside.any():
            mass[inside] = mass[inside][0]
            notes.append(f"frozen {length:.0f} s at {at:.0f} s")
    if "gap" in setting.troubles:
        at, length = moment(), rng.uniform(1, 25)
        keep = ~((t_s > at) & (t_s < at + length))
        t_s, mass, dp = t_s[keep], mass[keep], dp[keep]
        notes.append(f"gap {length:.0f} s at {at:.0f} s")
    if "bunched" in setting.troubles:
        step = rng.uniform(1.5, 4) / min(hz, 4)
        t_s = np.ceil(t_s / step) * step
    return t_s, mass, dp, tuple(notes)
