"""A second source of made-up runs with a known truth, whose physics owes nothing to `endpoint_traces`.

Powder: a population balance over grain size, stepped in time. A grain of size d passes an aperture a with rate
k0 (1 - d/a)^q (Gaudin's geometry, from memory), averaged over a spread of apertures with some too wide; a deep
bed passes more slowly; near-mesh grains blind the mesh and the jet clears it; agglomerates break, some of them
late; friable grains wear; the passing law is a power of the pressure above a least pressure. Balance: fractionally
integrated white noise (1/f), a low-pass, the jet's harmonics with a wandering turn, curved suction force, drift
that settles with a time constant and so goes on changing after the rest. Trouble: steps, spikes, gaps, frozen and
repeated digits, bunched stamps, sags, a filter that loads, pressure that is read seldom or not at all for a while.

Tuning seeds and test seeds are kept apart, as in `endpoint_traces`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.core.method import Endpoint, Suction, Weighing
from logger.core.rig import Rig
from tests.endpoint_traces import Instrument, MadeRun, Setting

Array = NDArray[np.float64]
DT_S = 0.25
LONGEST_S = 1300.0
LEFT_BAND = "left the band"
TROUBLES = (
    "step",
    "spikes",
    "gap",
    "frozen",
    "bunched",
    "sag",
    "loading",
    "dp-gap",
    "dp-seldom",
    "settling",
    "jet",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Powder:
    """Shares of the charge (%) by relative size d/aperture, and the laws they pass by."""

    share: Array
    rate_per_s: Array
    near_mesh: Array
    clumps: float
    clump_rate_per_s: float
    clump_delay_s: float
    bed_pct: float
    blind: float
    clear_per_s: float
    wear_pct_per_min: float
    law_power: float
    law_least: float


def draw_powder(rng: np.random.Generator, limit: float) -> Powder:
    """One powder on one sieve."""
    size = np.concatenate((np.linspace(0.03, 0.7, 24), np.linspace(0.71, 1.3, 119)))
    median, spread = np.exp(rng.uniform(np.log(0.25), np.log(1.6))), rng.uniform(0.25, 1.1)
    density = np.exp(-0.5 * (np.log(size / median) / spread) ** 2) / size
    share = density * np.gradient(size)
    clumps = float(rng.uniform(0.5, 5)) if rng.random() < 0.3 else 0.0
    share *= (100.0 - clumps) / share.sum()
    k0, q = np.exp(rng.uniform(np.log(0.1), np.log(2.5))), rng.uniform(1.6, 2.7)
    sd, nodes = rng.uniform(0.01, 0.10), np.linspace(-2.5, 2.5, 11)
    apertures, weights = 1.0 + sd * nodes, np.exp(-0.5 * nodes**2)
    wide = rng.uniform(0, 0.01)
    apertures = np.append(apertures, 1.0 + 3.5 * sd)
    weights = np.append((1 - wide) * weights / weights.sum(), wide)
    geometry = np.clip(1.0 - size[:, None] / apertures, 0.0, None) ** q @ weights
    return Powder(
        share=share,
        rate_per_s=k0 * geometry,
        near_mesh=((size > 0.8) & (size < 1.15)).astype(float),
        clumps=clumps,
        clump_rate_per_s=float(np.exp(rng.uniform(np.log(0.002), np.log(0.02)))),
        clump_delay_s=float(rng.uniform(50, 300)) if rng.random() < 0.5 else 0.0,
        bed_pct=float(rng.uniform(10, 200)),
        blind=float(rng.uniform(0.0, 0.02)) if rng.random() < 0.4 else 0.0,
        clear_per_s=float(rng.uniform(0.002, 0.03)),
        wear_pct_per_min=float(rng.uniform(0, 0.3)) * limit if rng.random() < 0.15 else 0.0,
        law_power=float(rng.uniform(0.7, 1.4)),
        law_least=float(rng.uniform(0.0, 0.2)),
    )


def sieve(powder: Powder, ratio: Array) -> tuple[Array, Array]:
    """(rate at nominal pressure %/min, load %) at the end of each step of DT_S with pressure `ratio` to nominal."""
    least = powder.law_least
    drive = (np.clip(ratio - least, 0.0, None) / (1.0 - least)) ** powder.law_power
    mass, clumps, open_share = powder.share.copy(), powder.clumps, 1.0
    fine = powder.share * (powder.rate_per_s > 0.3 * powder.rate_per_s.max())
    fragments = fine / max(float(fine.sum()), 1e-9) if fine.any() else powder.share / powder.share.sum()
    rate, load = np.empty(ratio.size), np.empty(ratio.size)
    for step, push in enumerate(drive.tolist()):
        passable = float(mass @ (powder.rate_per_s > 1e-4))
        slowed = open_share / (1.0 + passable / powder.bed_pct)
        k = powder.rate_per_s * slowed
        kept = mass * np.exp(-k * (push * DT_S))
        caught = powder.blind * float(powder.near_mesh @ mass) / 100.0
        open_share += DT_S * push * (powder.clear_per_s * (1.0 - open_share) - caught * open_share)
        kept *= 1.0 - powder.wear_pct_per_min / 60.0 * push * DT_S / float(kept.sum())
        if clumps > 0.0:
            ripe = -np.expm1(-((step * DT_S / powder.clump_delay_s) ** 1.5)) if powder.clump_delay_s else 1.0
            broken = clumps * -np.expm1(-powder.clump_rate_per_s * ripe * push * DT_S)
            clumps -= broken
            kept = kept + broken * fragments
        mass = kept
        rate[step] = 60.0 * float(mass @ k) + powder.wear_pct_per_min
        load[step] = float(mass.sum()) + clumps
    return rate, load


def fractional_noise(rng: np.random.Generator, count: int, hz: float, rms_600_s: float) -> Array:
    """1/f noise as white noise integrated half (Kasdin 1995, from memory); its rms over 600 s is as asked."""
    memory = int(900 * hz) + count
    weights = np.cumprod(np.concatenate(([1.0], (np.arange(1, memory) - 0.5) / np.arange(1, memory))))
    white = rng.normal(size=memory) * rms_600_s * np.sqrt(np.pi / np.log(300 * hz))
    size = 1 << int(np.ceil(np.log2(2 * memory)))
    whole = np.fft.irfft(np.fft.rfft(weights, size) * np.fft.rfft(white, size), size)
    return np.asarray(whole[memory - count : memory])


def low_pass(values: Array, t_s: Array, lag_s: float) -> Array:
    """First order."""
    if lag_s <= 0:
        return values
    out = np.empty_like(values)
    state = float(values[0])
    for i, gain in enumerate((-np.expm1(-np.diff(t_s, prepend=t_s[0]) / lag_s)).tolist()):
        state += gain * (float(values[i]) - state)
        out[i] = state
    return out


def draw_pressure(rng: np.random.Generator, trouble: frozenset[str], t_s: Array, band_share: float) -> Array:
    """dP over nominal: a fan that runs up, wanders, sags, and a filter that loads."""
    ratio = (1.0 + rng.uniform(-0.3, 0.3) * band_share) * -np.expm1(-t_s / rng.uniform(0.8, 3.0))
    wander = np.convolve(rng.normal(size=t_s.size), np.exp(-np.arange(480) / 160.0))[: t_s.size]
    ratio = ratio * (1.0 + rng.uniform(0, 0.01) * wander / 9.0)
    if "loading" in trouble:
        ratio = ratio * (1.0 - rng.uniform(0.02, 1.3) * band_share * -np.expm1(-t_s / rng.uniform(200, 1500)))
    if "sag" in trouble:
        for _ in range(rng.integers(1, 4)):
            at, length, depth = rng.uniform(40, 700), rng.uniform(2, 60), rng.uniform(0.05, 0.7)
            edge = 1.0 / (1.0 + np.exp(-np.clip((t_s - at) / 0.5, -50, 50)))
            back = 1.0 / (1.0 + np.exp(-np.clip((t_s - at - length) / 1.5, -50, 50)))
            ratio = ratio * (1.0 - depth * (edge - back))
    return np.clip(ratio, 0.0, None)


def draw_bench(rng: np.random.Generator, jet: bool) -> Instrument:
    """Balance and rig; a bad jet wobbles ten times more and shakes the balance."""
    digit = float(rng.choice([0.001, 0.001, 0.001, 0.002, 0.005, 0.01]))
    return Instrument(
        readability_g=digit,
        white_g=float(np.exp(rng.uniform(np.log(0.001), np.log(0.006)))) * (4.0 if jet else 1.0),
        flicker_g=float(np.exp(rng.uniform(np.log(0.0004), np.log(0.003)))) * (2.0 if jet else 1.0),
        lag_s=float(rng.uniform(0.0, 1.2)),
        wobble_g=float(np.exp(rng.uniform(np.log(0.001), np.log(0.02)))) * (5.0 if jet else 1.0),
        nozzle_rpm=float(rng.uniform(15, 60)),
        sample_hz=float(rng.choice([1.0, 2.0, 4.0, 5.0, 5.0, 10.0, 10.0, 20.0])),
        coupling_g_per_kpa=float(np.exp(rng.uniform(np.log(0.1), np.log(1.5)))),
        coupling2_g_per_kpa2=float(rng.normal(0, 0.03)),
        ripple=float(rng.uniform(0.002, 0.02)),
        drift_share=float(rng.uniform(-0.35, 0.35)),
    )


def make_population_run(seed: int) -> MadeRun:
    """The run of that seed; what was drawn for it stands in `notes`."""
    rng = np.random.default_rng([seed, 4711])
    trouble = frozenset(np.array(TROUBLES)[rng.random(len(TROUBLES)) < 0.13].tolist())
    bench = draw_bench(rng, "jet" in trouble)
    limit = float(rng.choice([0.02, 0.05, 0.1, 0.1, 0.1, 0.1, 0.2, 0.5]))
    charge_g = float(np.exp(rng.uniform(np.log(10), np.log(100))))
    rest_s = float(rng.choice([20, 30, 60, 60, 120]))
    dp0 = float(rng.choice([2000.0, 2500.0, 3500.0]))
    band_share = float(rng.choice([0.10, 0.15]))
    true_t: Array = np.arange(1.0, LONGEST_S / DT_S + 1.0, dtype=np.float64) * DT_S
    for _ in range(100):
        powder = draw_powder(rng, limit)
        ratio = draw_pressure(rng, trouble, true_t, band_share)
        rate, load_pct = sieve(powder, ratio)
        below = np.nonzero((rate <= limit) & (true_t > 10))[0]
        if below.size and 90 < true_t[below[0]] < 900:
            break
    else:
        raise RuntimeError("no powder crosses the limit in time")
    crossing = float(true_t[below[0]])
    late = crossing + 300.0
    out = np.abs(ratio - 1.0) > 0.95 * band_share
    notes = {name for name, on in _powder_notes(powder).items() if on} | set(trouble)
    if np.mean(out[(true_t > crossing - 30) & (true_t < late)]) > 0.2:
        notes.add(LEFT_BAND)
    setting = Setting(
        charge_g=charge_g,
        limit=limit,
        rest_s=rest_s,
        instrument=bench,
        troubles=frozenset(),
        powder_seed=seed,
        rig_full=bool(rng.random() < 0.7),
    )
    t_s = _times(rng, bench, rest_s, min(crossing + 400.0, LONGEST_S - 5.0))
    kpa = np.interp(t_s, np.append(0.0, true_t), np.append(0.0, ratio)) * dp0 / 1000.0
    mass, dp = _readings(rng, setting, trouble, t_s, kpa, np.interp(t_s, true_t, load_pct, left=100.0))
    t_s, mass, dp = _make_trouble(rng, bench, trouble, t_s, mass, dp, crossing)
    digit = bench.readability_g
    return MadeRun(
        seed=seed,
        setting=setting,
        endpoint=Endpoint(rule="loss-rate", limit_pct_per_min=limit, max_time_s=LONGEST_S),
        suction=Suction(dp_pa=dp0, band_pa=band_share * dp0),
        weighing=Weighing(mode="live", rest_s=rest_s),
        rig=_blank_run(rng, setting),
        charge_g=charge_g,
        t_s=t_s,
        mass_g=np.round(mass / digit) * digit,
        dp_pa=dp,
        true_t_s=true_t,
        true_rate=rate,
        true_load_g=load_pct * charge_g / 100.0,
        crossing_s=crossing,
        notes=tuple(sorted(notes)),
    )


def _powder_notes(powder: Powder) -> dict[str, bool]:
    return {
        "clumps": powder.clumps > 0 and powder.clump_delay_s == 0,
        "late clumps": powder.clumps > 0 and powder.clump_delay_s > 0,
        "blinding": powder.blind > 0,
        "wear": powder.wear_pct_per_min > 0,
    }


def _times(rng: np.random.Generator, bench: Instrument, rest_s: float, end_s: float) -> Array:
    """A clock that is a little off, with jitter."""
    step = (1.0 + 0.02 * rng.normal()) / bench.sample_hz
    t_s = np.arange(-rest_s, end_s, step)
    return np.sort(t_s + 0.1 * step * rng.normal(size=t_s.size))


def _readings(
    rng: np.random.Generator,
    setting: Setting,
    trouble: frozenset[str],
    t_s: Array,
    kpa: Array,
    load_pct: Array,
) -> tuple[Array, Array]:
    bench = setting.instrument
    jet_on = t_s > 0
    turn_wander = np.cumsum(rng.normal(size=t_s.size)) * 0.002 / np.sqrt(bench.sample_hz)
    angle = 2 * np.pi * (bench.nozzle_rpm / 60.0 * t_s + turn_wander)
    wobble = sum(np.cos(n * angle + rng.uniform(0, 6.3)) * rng.uniform(0.2, 1.0) / n for n in (1, 2, 3))
    ripple = rng.normal(size=t_s.size) + 0.7 * np.sin(angle)
    kpa = kpa * (1.0 + bench.ripple * ripple)
    force = bench.coupling_g_per_kpa * kpa + bench.coupling2_g_per_kpa2 * kpa**2
    load_g = load_pct * setting.charge_g / 100.0
    mass = low_pass(load_g + force + bench.wobble_g * wobble * jet_on, t_s, bench.lag_s)
    mass = mass + _drift(rng, setting, trouble, t_s)
    mass = mass + fractional_noise(rng, t_s.size, bench.sample_hz, bench.flicker_g)
    mass = mass + bench.white_g * rng.normal(size=t_s.size)
    seen = low_pass(kpa, t_s, float(rng.uniform(0.0, 0.3)))
    return mass, 1000.0 * seen + 4.0 * rng.normal(size=t_s.size)


def _drift(rng: np.random.Generator, setting: Setting, trouble: frozenset[str], t_s: Array) -> Array:
    """Constant, or settling: the same slope in the rest, fading with a time constant of minutes."""
    slope = setting.instrument.drift_share * setting.limit * setting.charge_g / 6000.0
    if "settling" not in trouble:
        return slope * t_s
    tau = rng.uniform(120, 1200)
    return np.asarray(-slope * tau * np.expm1(-(t_s + setting.rest_s) / tau))


def _make_trouble(
    rng: np.random.Generator,
    bench: Instrument,
    trouble: frozenset[str],
    t_s: Array,
    mass: Array,
    dp: Array,
    crossing: float,
) -> tuple[Array, Array, Array]:
    def span(low: float, high: float) -> Array:
        at = crossing + rng.uniform(-150, 30)
        return np.asarray((t_s > at) & (t_s < at + rng.uniform(low, high)))

    if "step" in trouble:
        for _ in range(rng.integers(1, 4)):
            at = crossing + rng.uniform(-200, 30)
            mass = mass + (t_s > at) * rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(0.003), np.log(1.0)))
    if "spikes" in trouble:
        hit = rng.random(t_s.size) < 0.005
        mass = mass + hit * rng.standard_t(2, size=t_s.size) * 50 * bench.readability_g
    if "frozen" in trouble:
        inside = span(3, 40)
        if inside.any():
            mass = np.where(inside, mass[inside][0], mass)
    if "dp-gap" in trouble:
        dp = np.where(span(1, 25), np.nan, dp)
    if "dp-seldom" in trouble:
        every = max(round(bench.sample_hz * rng.uniform(1, 3)), 1)
        dp = np.where(np.arange(t_s.size) % every == 0, dp, np.nan)
    if "gap" in trouble:
        keep = np.logical_not(span(1, 30))
        t_s, mass, dp = t_s[keep], mass[keep], dp[keep]
    if "bunched" in trouble:
        step = rng.uniform(1.2, 4.0) / min(bench.sample_hz, 4.0)
        t_s = np.ceil(t_s / step) * step
    return t_s, mass, dp


def _blank_run(rng: np.random.Generator, setting: Setting) -> Rig:
    bench = setting.instrument
    if not setting.rig_full:
        return Rig(readability_g=bench.readability_g)
    u = 0.03 * bench.coupling_g_per_kpa
    return Rig(
        readability_g=bench.readability_g,
        coupling_g_per_kpa=bench.coupling_g_per_kpa + u * rng.normal(),
        coupling_u_g_per_kpa=u,
        coupling2_g_per_kpa2=bench.coupling2_g_per_kpa2,
        flicker_rms_g=bench.flicker_g * np.exp(0.2 * rng.normal()),
        white_sd_g=bench.white_g * np.exp(0.1 * rng.normal()),
        nozzle_rpm=bench.nozzle_rpm * (1.0 + 0.003 * rng.normal()),
        sample_hz=bench.sample_hz,
    )
