"""A third source of made-up runs with a known truth: named families of runs, nominal values with a narrow spread.

Each name in `SCENARIOS` is a family: one thing is hard about it, the rest is ordinary. `make_scenario_run(seed)`
takes the families in turn and draws the run; nothing is shared with the other two sources but their dataclasses.

From our design notes, as ranges: local exponent e of the rate (t^-e) at the crossing 1.3-1.4 for most, 1.6-1.8 where
the sieve is full of residue or agglomerates break up slowly (mean life 110-200 s), about 3 with next to no residue,
below 1.3 for the slow tail; crossing 300-700 s, for most near 450 s; still to pass at the crossing about 2.4 %, 4.1 %
(slow tail), 0.2-0.5 % (sharp cut); 50 g, 1 mg, white 3 mg, 1/f 1 mg, and the small, coarse, noisy and low-limit
benches below; rest 30 or 120 s; band 15 %; drift up to a third of the limit; coupling known to 3 %, up to 1.5 g/kPa.
Powder law, from memory: first order a size class, k = k0 E[a^2 (1 - d/a)^q] over the holes a; blinding
d(phi)/dt = -kb near phi + kc (1 - phi). Chosen here, for want of a source: everything else, above all sizes and
times of troubles, pressure noise, the share that a deep bed slows, and the passing law's exponent of 0.9-1.2
in pressure above a least pressure of up to 5 % of nominal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter
from scipy.special import ndtr, ndtri

from logger.core.method import Endpoint, Suction, Weighing
from logger.core.rig import Rig
from tests.endpoint_population import LEFT_BAND
from tests.endpoint_traces import Instrument, MadeRun, Setting

Array = NDArray[np.float64]
Readings = tuple[Array, Array, Array]
Ranges = dict[str, tuple[float, float]]
TRUE_STEP_S, BENCH_STEP_S, LONGEST_S, AFTER_S = 0.5, 0.05, 1500.0, 400.0
BAND_SHARE = 0.15

# beyond_pct: the part of the smaller grains above the nominal aperture; it sets how many are near the mesh.
# drift: share of the limit. late_share: part of runs whose agglomerates break in two stages. Bench: g, s, kPa, Hz, 1/min.
ORDINARY = """
    exponent 1.29 1.41, crossing_s 300 700, limit 0.1, charge_g 48 52, oversize_pct 0 15, beyond_pct 4 10
    log_sd 0.7 1.0, aperture_sd 0.03 0.08, geometry 1.9 2.4, clumps_pct 0, clump_life_s 20 45, late_share 0
    bed_pct 40 300, blind_per_s 0 0.05, clear_per_s 0.02 0.06, readability 0.001, white 0.0024 0.0036
    flicker 0.0008 0.0012, sample 10, lag 0.3 0.7, wobble 0.002 0.006, nozzle 18 30, coupling 0.3 0.9, blank_run 1
    coupling2 -0.02 0.02, gauge_lag_s 0.1 0.5, ripple 0.003 0.008, drift -0.08 0.08"""
FAMILIES = """
easy
slow tail: exponent 1.12 1.3, crossing_s 500 1050, beyond_pct 20 50, aperture_sd 0.06 0.1, geometry 2.2 2.8
residue full: exponent 1.6 1.8, crossing_s 200 550, oversize_pct 80 90, beyond_pct 1 5, log_sd 0.25 0.6
residue near zero: exponent 2.6 3.4, crossing_s 200 500, oversize_pct 0, beyond_pct 0.01 0.3, log_sd 0.4 0.8
agglomerates early: clumps_pct 4 12, clump_life_s 15 50
agglomerates slow: exponent 1.58 1.82, clumps_pct 0.8 5, clump_life_s 110 200, late_share 0.3
blinding: exponent 1.2 1.5, blind_per_s 0.2 0.8, clear_per_s 0.003 0.03, aperture_sd 0.04 0.1
bump; bumps; spikes; dropouts; frozen; bunched; irregular; pressure missing; sag; sag near the end; filter loading
drift up: drift 0.2 0.3333
drift down: drift -0.3333 -0.2
small fine: charge_g 9.8 10.2, coupling 0.1 0.3, white 0.0008 0.0015, flicker 0.0003 0.0005, wobble 0.001 0.003
small coarse: charge_g 9.8 10.2, coupling 0.1 0.3, readability 0.01, white 0.0035 0.0045
twenty grams: charge_g 19.5 20.5, coupling 0.1 0.5
low limit: charge_g 9.8 10.2, coupling 0.1 0.3, limit 0.05, white 0.0017 0.0023, wobble 0.001 0.003
noisy balance: sample 5, white 0.009 0.011, flicker 0.0055 0.0065, wobble 0.005 0.02
noisy small: charge_g 9.8 10.2, coupling 0.1 0.3, readability 0.01, white 0.018 0.022, flicker 0.0045 0.0055
noisy jet: wobble 0.02 0.08, ripple 0.01 0.02, nozzle 15 60
strong coupling: coupling 1.3 1.45, coupling2 -0.06 0.01, lag 0.8 1.5, gauge_lag_s 0.05 0.2, ripple 0.006 0.012
undithered: readability 0.01, white 0.001 0.0025, wobble 0.0002 0.001, coupling 0.05 0.12, ripple 0.001 0.002
no blank run: blank_run 0"""


def _ranges(text: str) -> Ranges:
    words = [entry.split() for entry in text.replace("\n", ",").split(",") if entry.strip()]
    return {name: (float(bounds[0]), float(bounds[-1])) for name, *bounds in words}


SCENARIOS: dict[str, Ranges] = {
    line.partition(":")[0].strip(): _ranges(ORDINARY) | _ranges(line.partition(":")[2])
    for line in FAMILIES.strip().replace(";", "\n").splitlines()
}


@dataclass(frozen=True, slots=True)
class Family:
    """One scenario with the run's own source of chance."""

    name: str
    rng: np.random.Generator

    def __getitem__(self, name: str) -> float:
        """A value from that range, even in its logarithm where both ends are above zero."""
        low, high = SCENARIOS[self.name][name]
        if low == high:
            return low
        return low * (high / low) ** self.rng.random() if low > 0 else self.rng.uniform(low, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Powder:
    """Shares (% of the charge) and rate constants of the size classes, and what else passes or hinders."""

    share: Array
    rate_per_s: Array
    near: NDArray[np.bool_]
    clumps_pct: float
    clump_life_s: float
    late: bool
    bed_pct: float
    blind_per_s: float
    clear_per_s: float


def draw_powder(family: Family) -> Powder:
    """Log-normal grains with unit rate constant; `_aimed` gives them their speed."""
    size = np.concatenate((np.linspace(0.01, 0.6, 30, endpoint=False), np.linspace(0.6, 1.4, 161)))
    log_sd = family["log_sd"]
    grown = ndtr(np.log(size) / log_sd + ndtri(1 - family["beyond_pct"] / 100))
    deviate = np.linspace(-2.5, 2.5, 41)
    hole = 1 + family["aperture_sd"] * deviate
    weight = np.exp(-(deviate**2) / 2) * hole**2
    chance = np.clip(1 - size / hole[:, None], 0, None) ** family["geometry"]
    clumps_pct = family["clumps_pct"]
    return Powder(
        share=(100 - family["oversize_pct"] - clumps_pct) * np.diff(grown, prepend=0.0),
        rate_per_s=weight @ chance / weight.sum(),
        near=(size > 0.85) & (size < 1.08),
        clumps_pct=clumps_pct,
        clump_life_s=family["clump_life_s"],
        late=bool(family.rng.random() < family["late_share"]),
        bed_pct=family["bed_pct"],
        blind_per_s=family["blind_per_s"],
        clear_per_s=family["clear_per_s"],
    )


def _clumps(powder: Powder, theta_s: Array) -> tuple[Array, Array]:
    """(still whole, breaking per s) as shares of 1: one exponential, or two stages of half the life each."""
    life = powder.clump_life_s / (2 if powder.late else 1)
    decay = np.exp(-theta_s / life)
    if powder.late:
        return (1 + theta_s / life) * decay, theta_s / life**2 * decay
    return decay, decay / life


def _free_rate(powder: Powder, theta_s: Array) -> Array:
    """Rate in %/s against inner time, with nothing in its way."""
    decay = np.exp(-np.outer(theta_s, powder.rate_per_s))
    rate: Array = decay @ (powder.share * powder.rate_per_s)
    return rate + powder.clumps_pct * _clumps(powder, theta_s)[1]


def _aimed(powder: Powder, limit: float, at_s: float) -> Powder | None:
    """The powder with the speed at which its rate would meet the limit then, were nothing in its way."""
    turns = np.geomspace(1.0, 1e4, 160)
    falling = turns * _free_rate(replace(powder, clumps_pct=0.0), turns)
    wanted = (limit / 60 - powder.clumps_pct * _clumps(powder, np.array([at_s]))[1][0]) * at_s
    above = np.nonzero(falling > wanted)[0]
    if wanted <= 0 or not above.size or above[-1] == turns.size - 1:
        return None
    pair = slice(above[-1], above[-1] + 2)
    turn = math.exp(np.interp(-math.log(wanted), -np.log(falling[pair]), np.log(turns[pair])))
    return replace(powder, rate_per_s=powder.rate_per_s * turn / at_s)


def sieve(powder: Powder, drive: Array) -> tuple[Array, Array]:
    """(rate at nominal pressure in %/min, load in %) every TRUE_STEP_S; drive is the passing law's factor.

    All classes share one inner time theta, so each is a plain exponential in it. Clock and inner time part where
    a deep bed, blinded holes or low pressure slow the passing: stepped coarsely.
    """
    logs = np.linspace(0.0, math.log(2 * LONGEST_S), 900)
    grid, per_index = np.expm1(logs), 1 / logs[1]
    decay = np.exp(-np.outer(grid, powder.rate_per_s))
    passing = powder.rate_per_s > 0
    whole = powder.clumps_pct * _clumps(powder, grid)[0]
    ease = 1 / (1 + (decay[:, passing] @ powder.share[passing] + whole) / powder.bed_pct)
    blind = powder.blind_per_s * (decay[:, powder.near] @ powder.share[powder.near]) / 100
    table = list(zip(ease.tolist(), blind.tolist(), strict=True))
    theta, phi = 0.0, 1.0
    inner, open_share = np.empty(drive.size), np.empty(drive.size)
    for i, push in enumerate(drive.tolist()):
        inner[i], open_share[i] = theta, phi
        eased, blinding = table[int(math.log1p(theta + 0.25 * push * phi) * per_index)]
        phi += TRUE_STEP_S * (powder.clear_per_s * (1 - phi) - blinding * phi)
        theta += TRUE_STEP_S * push * phi * eased
    held = 100 - (1 - decay) @ powder.share - powder.clumps_pct + whole
    speed = open_share * np.interp(inner, grid, ease)
    rate = 60 * speed * np.interp(inner, grid, _free_rate(powder, grid))
    return rate, np.interp(inner, grid, held)


def exponent_between(early: float, late: float) -> float:  # rates at 0.9 and 1.1 times one moment
    return math.log(early / late) / math.log(1.1 / 0.9)


def first_below(rate: Array, limit: float) -> float:
    """First time after 10 s with the rate at or below the limit; infinite if none."""
    late = int(10 / TRUE_STEP_S)
    below = np.nonzero(rate[late:] <= limit)[0]
    return float((below[0] + late) * TRUE_STEP_S) if below.size else math.inf


def _draw_fitting(family: Family, true_t: Array) -> tuple[Powder, float]:
    """A powder that crosses the limit once, with time and exponent inside the family's ranges."""
    (low, high), (least, most) = (SCENARIOS[family.name][key] for key in ("crossing_s", "exponent"))
    limit, around = family["limit"], np.array([0.9, 1.1])
    for _ in range(3000):
        aim_s = float(np.clip(0.5 * (low + high) * math.exp(0.2 * family.rng.normal()), low, high))
        powder = _aimed(draw_powder(family), limit, aim_s)
        if powder is None:
            continue
        if not 0.8 * least < exponent_between(*_free_rate(powder, aim_s * around)) < 1.2 * most:
            continue
        rate, _ = sieve(powder, np.ones(true_t.size))
        crossing = first_below(rate, limit)
        if low <= crossing <= high and rate[true_t > crossing].max() <= limit:
            exponent = exponent_between(*np.interp(crossing * around, true_t, rate))
            if least <= exponent <= most:
                return powder, crossing
    raise RuntimeError("no powder of this family crosses the limit in time")


def wander(rng: np.random.Generator, count: int, step_s: float, life_s: float) -> Array:
    """Noise of unit variance that forgets exponentially with that life."""
    keep = math.exp(-step_s / life_s)
    kicks = math.sqrt(1 - keep**2) * rng.normal(size=count)
    kicks[0] = rng.normal()
    out: Array = lfilter([1.0], [1.0, -keep], kicks)
    return out


def pink(rng: np.random.Generator, count: int, step_s: float, rms_600_s: float) -> Array:
    """1/f noise: relaxations an octave apart. The rms about the mean of 600 s is on average as asked."""
    lives = step_s / 2 * 2.0 ** np.arange(21)
    part = lives / 600.0
    seen = 1 - 2 * part - 2 * part**2 * np.expm1(-1 / part)
    total = sum(wander(rng, count, step_s, float(life)) for life in lives)
    return np.asarray(total) * rms_600_s / math.sqrt(seen.sum())


def _low_pass(values: Array, lag_s: float) -> Array:
    keep = math.exp(-BENCH_STEP_S / lag_s)
    out: Array = values[0] + lfilter([1 - keep], [1.0, -keep], values - values[0])
    return out


def _slow_pressure(family: Family, t_s: Array, crossing_s: float) -> Array:
    """Pressure over nominal without its quick noise: setting, trend, wander, sags, a filter that loads."""
    rng = family.rng
    ratio = 1 + rng.uniform(-0.03, 0.03) + 0.004 * wander(rng, t_s.size, TRUE_STEP_S, 120.0)
    ratio += rng.uniform(-0.02, 0.02) * t_s / 600
    if family.name == "filter loading":
        ratio -= rng.uniform(0.02, 0.13) * (t_s / crossing_s) ** rng.uniform(0.7, 1.5)
    starts = rng.uniform(50, crossing_s - 60, rng.integers(1, 3)).tolist() if family.name == "sag" else []
    if family.name == "sag near the end":
        starts = [crossing_s + rng.uniform(-70, 5)]
    for start in starts:
        end, edge = start + rng.uniform(10, 50), rng.uniform(0.5, 3)
        dip = np.clip((t_s - start) / edge, 0, 1) * np.clip(1 - (t_s - end) / (2 * edge), 0, 1)
        ratio *= 1 - rng.uniform(0.2, 0.6) * dip
    return np.clip(ratio * -np.expm1(-t_s / rng.uniform(0.8, 2)), 0, 1.3)


def _draw_setting(family: Family, seed: int) -> Setting:
    bench = Instrument(**{field.name: family[field.name.partition("_")[0]] for field in fields(Instrument)})
    return Setting(
        charge_g=round(family["charge_g"], 3),
        limit=family["limit"],
        rest_s=float(family.rng.choice([30.0, 120.0])),
        instrument=bench,
        troubles=frozenset(),
        powder_seed=seed,
        rig_full=family["blank_run"] > 0,
    )


def _blank_run(rng: np.random.Generator, setting: Setting, dp_kpa: float) -> Rig:
    """What a blank run would have found: coupling within 3 %, as a curve or, as often, as one slope."""
    bench = setting.instrument
    if not setting.rig_full:
        return Rig(readability_g=bench.readability_g)
    curved = rng.random() < 0.5
    slope = bench.coupling_g_per_kpa + (0.0 if curved else 2 * bench.coupling2_g_per_kpa2 * dp_kpa)
    return Rig(
        readability_g=bench.readability_g,
        coupling_g_per_kpa=slope + 0.03 * bench.coupling_g_per_kpa * rng.normal(),
        coupling_u_g_per_kpa=0.03 * bench.coupling_g_per_kpa,
        coupling2_g_per_kpa2=bench.coupling2_g_per_kpa2 if curved else None,
        flicker_rms_g=bench.flicker_g * math.exp(0.15 * rng.normal()),
        white_sd_g=bench.white_g * math.exp(0.05 * rng.normal()),
        nozzle_rpm=bench.nozzle_rpm * (1 + 0.01 * rng.normal()),
        sample_hz=bench.sample_hz,
    )


def _knocks(family: Family, t_s: Array, crossing_s: float) -> Array:
    """Level steps (g) that ring out within some seconds."""
    rng, moved = family.rng, np.zeros(t_s.size)
    for n in range({"bump": 1, "bumps": int(rng.integers(2, 5))}.get(family.name, 0)):
        at = crossing_s + rng.uniform(-180, 20) if n == 0 else rng.uniform(40, crossing_s)
        since = np.clip(t_s - at, 0, None)
        ringing = rng.uniform(0, 2) * np.exp(-since / rng.uniform(0.3, 1.5)) * np.sin(2 * np.pi * 1.7 * since)
        moved += rng.choice([-1, 1]) * 10 ** rng.uniform(-1.7, -0.2) * (t_s > at) * (1 + ringing)
    return moved


def _bench(family: Family, setting: Setting, t_s: Array, kpa: Array, load_g: Array) -> tuple[Array, Array]:
    """Balance (before digits and white noise) and gauge on the bench's own step; load_g with its knocks."""
    bench, rng = setting.instrument, family.rng
    speed = bench.nozzle_rpm / 60 * (1 + 0.015 * wander(rng, t_s.size, BENCH_STEP_S, 60.0))
    turn = 2 * np.pi * (np.cumsum(speed) * BENCH_STEP_S + rng.random())
    quick = bench.ripple * wander(rng, t_s.size, BENCH_STEP_S, rng.uniform(0.3, 2))
    kpa = kpa * (1 + quick + 0.5 * bench.ripple * np.sin(turn + 0.7))
    beat = np.sin(turn) + rng.uniform(0.2, 0.6) * np.sin(2 * turn + rng.uniform(0, 6))
    force = bench.coupling_g_per_kpa * kpa + bench.coupling2_g_per_kpa2 * kpa**2
    jet = bench.wobble_g * beat * (1 + 0.1 * wander(rng, t_s.size, BENCH_STEP_S, 90.0)) * (kpa > 0.2)
    mass = _low_pass(load_g + force + jet, bench.lag_s)
    mass += bench.drift_share * setting.limit * setting.charge_g / 6000 * t_s
    mass += pink(rng, t_s.size, BENCH_STEP_S, bench.flicker_g)
    gauge = 1000 * _low_pass(kpa, family["gauge_lag_s"])
    return mass, gauge + rng.normal(0, rng.uniform(1, 6), t_s.size)


def _stamps(rng: np.random.Generator, irregular: bool, hz: float, start_s: float, end_s: float) -> Array:
    if irregular:
        gaps = rng.gamma(1.5, 1 / (1.5 * hz), int(1.3 * (end_s - start_s) * hz)) + 0.01
        t_s = start_s + np.cumsum(gaps * np.exp(0.5 * wander(rng, gaps.size, 1 / hz, 40.0)))
        return t_s[t_s < end_s]
    t_s = np.arange(start_s, end_s, 1 / hz)
    return t_s + rng.uniform(0, 0.02, t_s.size)


def _read_trouble(family: Family, t_s: Array, mass: Array, dp: Array, crossing_s: float) -> Readings:
    """What goes wrong between balance, gauge and logger."""
    rng, name, keep = family.rng, family.name, np.ones(t_s.size, dtype=np.bool_)
    lost = rng.random(t_s.size) < 0.03
    if name == "spikes":
        hit = rng.random(t_s.size) < rng.uniform(0.001, 0.008)
        mass[hit] += rng.choice([-1, 1], hit.sum()) * 10 ** rng.uniform(-1.7, 0.3, hit.sum())
    keep[lost & (name == "dropouts")] = False
    dp[lost & (name == "pressure missing")] = np.nan
    if name == "bunched":
        batch_s = rng.uniform(0.5, 2.5)
        t_s = np.ceil(t_s / batch_s) * batch_s
    spells = [(crossing_s + rng.uniform(-60, 5), rng.uniform(5, 25))]
    spells += [(rng.uniform(30, crossing_s), rng.uniform(1, 15)) for _ in range(rng.integers(1, 5))]
    for start, length in spells:
        first, last = np.searchsorted(t_s, (start, start + length))
        if name == "frozen":
            mass[first:last] = mass[first]
        if name == "dropouts":
            keep[first:last] = False
        if name == "pressure missing":
            dp[first : last + (last - first)] = np.nan
    return t_s[keep], mass[keep], dp[keep]


def _readings(
    family: Family, setting: Setting, true_t: Array, kpa: Array, load_pct: Array, crossing_s: float
) -> Readings:
    """Stamps, mass and pressure as the logger gets them, up to AFTER_S past the crossing."""
    end_s = min(crossing_s + AFTER_S, LONGEST_S - 5)
    fine = np.arange(-setting.rest_s - 1.0, end_s + 1.0, BENCH_STEP_S)
    load_g = np.interp(fine, true_t, load_pct) * setting.charge_g / 100 + _knocks(family, fine, crossing_s)
    mass, gauge = _bench(family, setting, fine, np.interp(fine, true_t, kpa, left=0.0), load_g)
    irregular, hz = family.name == "irregular", setting.instrument.sample_hz
    t_s = _stamps(family.rng, irregular, hz, -setting.rest_s, end_s)
    seen = np.interp(t_s, fine, mass) + family.rng.normal(0, setting.instrument.white_g, t_s.size)
    return _read_trouble(family, t_s, seen, np.interp(t_s, fine, gauge), crossing_s)


def make_scenario_run(seed: int, name: str | None = None) -> MadeRun:
    """The run of that seed, of its own family or of the one named (g, s, Pa); the name stands in `notes`."""
    family = Family(name or list(SCENARIOS)[seed % len(SCENARIOS)], np.random.default_rng([seed, 90_210]))
    rng, setting = family.rng, _draw_setting(family, seed)
    dp0 = float(rng.choice([2000.0, 2500.0, 3000.0]))
    true_t: Array = np.arange(0.0, LONGEST_S, TRUE_STEP_S, dtype=np.float64)
    powder, aim_s = _draw_fitting(family, true_t)
    ratio, least = _slow_pressure(family, true_t, aim_s), rng.uniform(0, 0.05)
    rate, load_pct = sieve(powder, (np.clip(ratio - least, 0, None) / (1 - least)) ** rng.uniform(0.9, 1.2))
    crossing = first_below(rate, setting.limit)
    near = (true_t > crossing - 30) & (true_t < crossing + 300)
    left = np.mean(np.abs(ratio[near] - 1) > 0.95 * BAND_SHARE) > 0.2
    t_s, mass, dp = _readings(family, setting, true_t, ratio * dp0 / 1000, load_pct, crossing)
    digit = setting.instrument.readability_g
    return MadeRun(
        seed=seed,
        setting=setting,
        endpoint=Endpoint(rule="loss-rate", limit_pct_per_min=setting.limit, max_time_s=LONGEST_S),
        suction=Suction(dp_pa=dp0, band_pa=BAND_SHARE * dp0),
        weighing=Weighing(mode="live", rest_s=setting.rest_s),
        rig=_blank_run(rng, setting, dp0 / 1000),
        charge_g=setting.charge_g,
        t_s=t_s,
        mass_g=np.round(mass / digit) * digit,
        dp_pa=dp,
        true_t_s=true_t,
        true_rate=rate,
        true_load_g=load_pct * setting.charge_g / 100,
        crossing_s=crossing,
        notes=(family.name, LEFT_BAND) if left else (family.name,),
    )
