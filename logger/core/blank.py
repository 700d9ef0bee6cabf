"""The blank run: empty sieve, jet on, pressure stepped over the band. What it says about the rig, and whether
it is good enough to be believed. Pure.

Apparent mass = level + coupling x dP + curvature x dP^2 + drift x t + noise, by generalised least squares
with white and 1/f noise in the covariance. Masses in g, pressures in Pa (kPa inside), times in s.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from logger.core.endpoint.noise import HADAMARD, MEDIAN_OF_CHI2
from logger.core.rig import Rig
from logger.core.trace import Trace

Array = NDArray[np.float64]
LEAST_JET_S = 300.0
"""Shorter, and 1/f noise over ten minutes cannot be told."""
LEAST_LEVELS = 3
"""A straight line through two pressures says nothing about curvature."""
LEAST_COVER = 0.7
"""Share of the band (both ways) that the steps must cover."""
BLOCK_S = 3.0
MAX_BLOCKS = 400
MAX_COUPLING_G_PER_KPA = 1.5
MAX_COUPLING_U_SHARE = 0.1
RPM_RANGE = (10.0, 75.0)
CLEAR_PEAK = 30.0
"""How far the nozzle's turn must stand out of the noise (power over the median power). The largest of some
thousand powers of pure noise is about 12 times their median."""
MAX_SCATTER = 3.0
"""Residuals this many times what noise explains mean that the coupling does not repeat (a hose that rubs)."""
SETTLE_SHARE = 0.02
STEP_SHARE = 0.25
"""Pressure levels further apart than this share of the band count as two."""


@dataclass(frozen=True, slots=True)
class BlankStep:
    """One step of the guided blank run: hold this pressure for so long."""

    dp_pa: float
    hold_s: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankReport:
    """`rig` is None when the run was refused; `problems` say why and what to do. `notes` are for the record."""

    rig: Rig | None
    problems: tuple[str, ...]
    notes: tuple[str, ...]
    coupling_at_nominal_g_per_kpa: float | None = None
    coupling_u_g_per_kpa: float | None = None
    drift_g_per_min: float | None = None

    @property
    def accepted(self) -> bool:
        """Whether the rig file may be written."""
        return self.rig is not None


def blank_plan(dp0_pa: float, band_pa: float, hold_s: float = 100.0) -> tuple[BlankStep, ...]:
    """The steps of a blank run: a rest, then five pressures over the band, up and down."""
    shares = (0.0, -1.0, 0.5, -0.5, 1.0, 0.0)
    rest = BlankStep(0.0, 60.0, "sieve empty and brushed, lid closed, suction off: hands off for 60 s")
    steps = [
        BlankStep(
            dp0_pa + share * 0.9 * band_pa,
            hold_s,
            f"set {dp0_pa + share * 0.9 * band_pa:.0f} Pa with the bleed valve, then hands off for {hold_s:.0f} s",
        )
        for share in shares
    ]
    return (rest, *steps)


@dataclass(frozen=True, slots=True)
class _Blocks:
    t: Array
    mass: Array
    kpa: Array
    count: float


def analyse_blank(
    trace: Trace,
    dp0_pa: float,
    band_pa: float,
    readability_g: float | None = None,
    balance_id: str | None = None,
    measured_at: str | None = None,
    dead_load_g: float | None = None,
    capacity_g: float | None = None,
    valid_days: float | None = 90.0,
) -> BlankReport:
    """Judges a blank run and makes the rig from it. mass_g of the trace is the apparent mass, tare taken off."""
    seen = np.isfinite(trace.mass_g) & np.isfinite(trace.dp_pa)
    t, mass, dp = trace.t_s[seen], trace.mass_g[seen], trace.dp_pa[seen]
    problems = _problems_of_readings(t, dp, dp0_pa, band_pa)
    if problems:
        return BlankReport(rig=None, problems=tuple(problems), notes=())
    digit = readability_g if readability_g is not None else trace.readability_g()
    hz = 1.0 / float(np.median(np.diff(t)[np.diff(t) > 0]))
    rpm = nozzle_rpm(t[t > 0], mass[t > 0])
    blocks = _blocks(t, mass, dp, rpm)
    fit = _Fit(blocks, dp0_pa / 1000.0)
    white = max(_white_sd(t, mass - fit.local_slope * dp / 1000.0, rpm), digit / math.sqrt(12.0))
    problems = _problems_of_fit(fit, digit)
    notes = _notes(fit, rpm, hz)
    figures = {
        "coupling_at_nominal_g_per_kpa": fit.local_slope,
        "coupling_u_g_per_kpa": fit.local_u,
        "drift_g_per_min": 60.0 * fit.drift,
    }
    if problems:
        return BlankReport(rig=None, problems=tuple(problems), notes=notes, **figures)
    jet = dp[np.abs(dp - dp0_pa) <= 1.2 * band_pa]
    rig = Rig(
        readability_g=digit,
        coupling_g_per_kpa=_round(fit.coupling),
        coupling_u_g_per_kpa=_round(fit.local_u),
        coupling2_g_per_kpa2=_round(fit.curvature),
        flicker_rms_g=_round(math.sqrt(fit.density * math.log(300.0 * max(hz, 0.5)))),
        white_sd_g=_round(white),
        nozzle_rpm=None if rpm is None else round(rpm, 3),
        sample_hz=round(hz, 3),
        dp_min_pa=round(float(np.percentile(jet, 1)), 1),
        dp_max_pa=round(float(np.percentile(jet, 99)), 1),
        dead_load_g=dead_load_g,
        capacity_g=capacity_g,
        balance_id=balance_id,
        measured_at=measured_at,
        valid_days=valid_days,
    )
    return BlankReport(rig=rig, problems=(), notes=notes, **figures)


def _round(value: float) -> float:
    return float(f"{value:.4g}")


# --- is it a blank run at all -------------------------------------------------------------------------


def _problems_of_readings(t: Array, dp: Array, dp0_pa: float, band_pa: float) -> list[str]:
    jet = np.abs(dp - dp0_pa) <= 1.2 * band_pa
    if t.size < 50 or not jet.any():
        return [
            f"no readings of mass and pressure together near {dp0_pa:.0f} Pa: check both links, then repeat"
        ]
    problems = []
    length = float(t[jet][-1] - t[jet][0])
    if length < LEAST_JET_S:
        problems.append(
            f"{length:.0f} s with the jet on are too short: {LEAST_JET_S:.0f} s or more are needed"
        )
    levels = pressure_levels(dp[jet], band_pa)
    if len(levels) < LEAST_LEVELS:
        problems.append(
            f"the pressure stood at {len(levels)} level(s) only: step it over the band, {LEAST_LEVELS} or more"
        )
    elif levels[-1] - levels[0] < LEAST_COVER * 2 * 0.9 * band_pa:
        problems.append(
            f"the steps cover {levels[0]:.0f} to {levels[-1]:.0f} Pa: go nearer to"
            f" {dp0_pa - 0.9 * band_pa:.0f} and {dp0_pa + 0.9 * band_pa:.0f} Pa"
        )
    return problems


def pressure_levels(dp_pa: Array, band_pa: float) -> list[float]:
    """The pressures at which the run stood, lowest first: groups of readings, each 2 % of them or more."""
    order = np.sort(dp_pa)
    width = STEP_SHARE * band_pa
    levels: list[float] = []
    start = 0
    for i in range(1, order.size + 1):
        if i == order.size or order[i] - order[start] > width:
            if i - start >= SETTLE_SHARE * order.size:
                levels.append(float(np.median(order[start:i])))
            start = i
    return levels


# --- noise and nozzle ---------------------------------------------------------------------------------


def _smooth_out(t: Array, mass: Array, window_s: float) -> Array:
    """What is left of the mass when its slow part (a running mean) is taken off."""
    width = max(3, round(window_s * (t.size - 1) / float(t[-1] - t[0])))
    kernel = np.ones(width) / width
    padded = np.pad(mass, (width // 2, width - 1 - width // 2), mode="edge")
    return mass - np.convolve(padded, kernel, mode="valid")


def nozzle_rpm(t_s: Array, mass_g: Array) -> float | None:
    """Turns of the nozzle per minute from its mark on the mass; None where none stands out."""
    if t_s.size < 200:
        return None
    rest = _smooth_out(t_s, mass_g, 10.0)
    rest = np.clip(rest, *np.percentile(rest, [1, 99]))
    hz = (t_s.size - 1) / float(t_s[-1] - t_s[0])
    even_s = np.linspace(float(t_s[0]), float(t_s[-1]), t_s.size)
    power = np.abs(np.fft.rfft(np.interp(even_s, t_s, rest), 8 * t_s.size)) ** 2
    rpm = 60.0 * np.fft.rfftfreq(8 * t_s.size, 1.0 / hz)
    inside = (rpm >= RPM_RANGE[0]) & (rpm <= min(RPM_RANGE[1], 60.0 * 0.45 * hz))
    if np.count_nonzero(inside) < 20:
        return None
    double = np.interp(2 * rpm[inside], rpm, power, right=0.0)
    best = int(np.argmax(power[inside] + double))
    clear = power[inside][best] > CLEAR_PEAK * float(np.median(power[inside]))
    return float(rpm[inside][best]) if clear else None


def _white_sd(t: Array, mass: Array, rpm: float | None) -> float:
    """Noise of single readings: second differences, the nozzle's turn taken off first."""
    rest = mass
    if rpm is not None:
        angle = 2 * np.pi * rpm / 60.0 * t
        turn = np.column_stack([np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)])
        fast = _smooth_out(t, mass, 10.0)
        rest = mass - turn @ np.linalg.lstsq(turn, fast, rcond=None)[0]
    second = rest[2:] - 2 * rest[1:-1] + rest[:-2]
    return math.sqrt(float(np.median(second**2)) / MEDIAN_OF_CHI2 / 6.0)


def _blocks(t: Array, mass: Array, dp: Array, rpm: float | None) -> _Blocks:
    """Means over whole turns; blocks in which the pressure moves (settling) are left out."""
    span = max(BLOCK_S, float(t[-1] - t[0]) / MAX_BLOCKS)
    if rpm is not None:
        span = math.ceil(span * rpm / 60.0) * 60.0 / rpm
    index = np.floor((t - t[0]) / span).astype(int)
    counts = np.bincount(index)
    good = counts >= 0.6 * np.median(counts[counts > 0])

    def means(values: Array) -> Array:
        return np.asarray(np.bincount(index, values)[good] / counts[good])

    kpa = means(dp) / 1000.0
    jump = np.abs(np.diff(kpa, prepend=kpa[0])) + np.abs(np.diff(kpa, append=kpa[-1]))
    calm = jump < max(6 * float(np.median(jump)), 1e-4)
    return _Blocks(means(t)[calm], means(mass)[calm], kpa[calm], float(np.median(counts)))


# --- coupling -----------------------------------------------------------------------------------------


class _Fit:
    """Level, coupling, curvature and drift with their covariance."""

    def __init__(self, blocks: _Blocks, nominal_kpa: float) -> None:
        self._blocks = blocks
        kpa, t = blocks.kpa, blocks.t - blocks.t.mean()
        self._design = np.column_stack([np.ones_like(t), kpa, kpa**2, t])
        self._solve(np.eye(t.size))
        self.white, self.density = self._noise()
        for _ in range(2):
            self._solve(self._covariance())
            self.white, self.density = self._noise()
        _, self.coupling, self.curvature, self.drift = (float(v) for v in self._solution)
        local = np.array([0.0, 1.0, 2 * nominal_kpa, 0.0])
        mean = np.array([0.0, 1.0, nominal_kpa, 0.0])
        self.local_slope = float(local @ self._solution)
        u_local, u_mean = (math.sqrt(float(row @ self._cov @ row)) for row in (local, mean))
        self.local_u = max(u_local, u_mean)
        self.drift_u = math.sqrt(float(self._cov[3, 3]))
        rest = blocks.mass - self._design @ self._solution
        self.scatter = float(np.std(rest))
        self.explained = math.sqrt(float(np.mean(np.diag(self._covariance()))))

    def _solve(self, cov: Array) -> None:
        weighted = np.linalg.solve(cov, self._design)
        self._cov = np.linalg.inv(self._design.T @ weighted)
        self._solution = self._cov @ (weighted.T @ self._blocks.mass)

    def _noise(self) -> tuple[float, float]:
        """(variance of a block, density K of the 1/f noise) from second differences of what is left over."""
        rest = self._blocks.mass - self._design @ self._solution
        white = _second_difference(rest, 1) / 6.0
        found = [
            max(_second_difference(rest, group) - 6.0 * white / group, 0.0) / HADAMARD
            for group in (4, 8, 16)
            if rest.size >= 5 * group
        ]
        density = float(np.median(found)) if found else 0.0
        return max(white - HADAMARD * density / 6.0, 0.1 * white, 1e-14), max(density, 1e-14)

    def _covariance(self) -> Array:
        lag = np.abs(self._blocks.t[:, None] - self._blocks.t[None, :])
        taus = 4.0 * 5.0 ** np.arange(4)
        flicker = sum(np.exp(-lag / tau) for tau in taus) * math.log(5.0) * self.density
        return np.asarray(flicker + self.white * np.eye(self._blocks.t.size))


def _second_difference(values: Array, group: int) -> float:
    """Robust mean square of second differences of means over `group` neighbours."""
    whole = values[: values.size // group * group].reshape(-1, group).mean(axis=1)
    return float(np.median((whole[2:] - 2 * whole[1:-1] + whole[:-2]) ** 2)) / MEDIAN_OF_CHI2


def _problems_of_fit(fit: _Fit, digit: float) -> list[str]:
    problems = []
    size = abs(fit.local_slope)
    if size > MAX_COUPLING_G_PER_KPA:
        problems.append(
            f"the suction shows as {fit.local_slope:.2f} g/kPa, more than {MAX_COUPLING_G_PER_KPA:g}: free the"
            " hose and its bellows, or weigh beside the rig"
        )
    if fit.local_u > max(MAX_COUPLING_U_SHARE * size, 0.3 * digit / 0.1):
        problems.append(
            f"the coupling {fit.local_slope:.3f} g/kPa is uncertain by {fit.local_u:.3f} g/kPa: take wider"
            " steps and hold each longer"
        )
    if fit.scatter > MAX_SCATTER * fit.explained:
        problems.append(
            f"masses scatter by {fit.scatter:.4f} g about the fit where noise explains {fit.explained:.4f} g:"
            " something rubs or was touched; free the hose and repeat"
        )
    if fit.drift < 0 and abs(fit.drift) > 4 * fit.drift_u and abs(fit.drift) * 600.0 > 20 * digit:
        problems.append(
            f"the mass falls by {-60 * fit.drift:.4f} g/min: the sieve is not empty, or the balance has not"
            " warmed up; brush it out, wait and repeat"
        )
    return problems


def _notes(fit: _Fit, rpm: float | None, hz: float) -> tuple[str, ...]:
    turn = "no mark of the nozzle on the mass" if rpm is None else f"nozzle at {rpm:.2f} turns per minute"
    return (
        f"suction force {fit.local_slope:.4f} g/kPa at nominal pressure (u = {fit.local_u:.4f}, k = 1)",
        f"{hz:.2f} readings per second, {turn}",
        f"drift {60 * fit.drift:.5f} g/min (u = {60 * fit.drift_u:.5f}, k = 1)",
    )


def rig_file_lines(rig: Rig, notes: Sequence[str] = ()) -> list[str]:
    """The rig file (TOML) as lines: what was measured, comments first."""
    lines = [f"# {note}" for note in notes]
    for name in (field.name for field in fields(rig)):
        value = getattr(rig, name)
        if value is not None:
            lines.append(f'{name} = "{value}"' if isinstance(value, str) else f"{name} = {value!r}")
    return lines
