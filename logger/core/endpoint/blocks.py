"""Readings into blocks: one level each, over whole turns of the nozzle, without spikes and frozen stretches."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.core.endpoint.lag_match import LAGS_S, LagMatch
from logger.core.endpoint.parameters import Tuning

Array = NDArray[np.float64]
STAMP_SD_S = 0.02
BUNCH_DOUBT = 0.6
"""Doubt about a block's time: what arrived is not quite when it was weighed, the less so in bunches."""
SLOW_WAVE = 0.35
"""Turns of an aliased wave within a block below which neighbouring blocks hardly differ by it."""
_UNKNOWN = [math.nan] * len(LAGS_S)


@dataclass(frozen=True, slots=True)
class Block:
    """Mean of a short stretch; masses in % of the charge. `scatter` is of readings about the block's line,
    `time_sd` the doubt about its time, `aliased` that a slow wave of the nozzle may hide in its mean."""

    t_s: float
    theta_s: float
    span_s: float
    mass: float
    kpa: float
    kpa_per_s: float
    count: int
    scatter: float
    time_sd: float
    aliased: bool
    in_gate: bool


def spread_bunched(t_s: Array) -> Array:
    """Times of readings whose stamps came in bunches, as they were probably taken.

    A bunch (stamps much closer than usual, after a pause) is spread back over the pause at the usual
    period. Evenly stamped readings come back unchanged.
    """
    if t_s.size < 4:
        return t_s
    steps = np.diff(t_s)
    period = float(t_s[-1] - t_s[0]) / (t_s.size - 1)
    late = steps < 0.2 * period
    if np.count_nonzero(late) < 0.2 * steps.size:
        return t_s
    group = np.concatenate(([0], np.cumsum(~late)))
    ends = np.append(np.nonzero(np.diff(group))[0], t_s.size - 1)
    sizes = np.diff(ends, prepend=-1)
    from_end = np.repeat(ends, sizes) - np.arange(t_s.size)
    return t_s - from_end * period


class BlockBuilder:
    """Collects readings and hands out a block when one is complete."""

    def __init__(self, tuning: Tuning, turn_s: float | None) -> None:
        self._tuning, self._turn_s = tuning, turn_s
        self._lags = LagMatch()
        self.scatter = 0.0
        self._t: list[float] = []
        self._theta: list[float] = []
        self._mass: list[float] = []
        self._dp: list[list[float]] = []
        self._gate: list[bool] = []

    def clear(self) -> None:
        """Drops what was collected since the last block."""
        for column in (self._t, self._theta, self._mass, self._dp, self._gate):
            column.clear()

    def drop_last(self, count: int) -> None:
        """Takes back readings of the block in progress that turned out to be frozen."""
        keep = max(len(self._t) - count, 0)
        for column in (self._t, self._theta, self._mass, self._dp, self._gate):
            del column[keep:]

    def _span_s(self, period_s: float) -> float:
        tuning = self._tuning
        wanted = max(tuning.block_s, tuning.block_min * period_s)
        if self._turn_s is None or self._turn_s > 8.0:
            return wanted
        return math.ceil(wanted / self._turn_s - 1e-9) * self._turn_s

    def add(
        self, t_s: float, theta_s: float, mass: float, dp_pa: float | None, in_gate: bool
    ) -> Block | None:
        """Takes a reading; returns the block that this reading completes (the reading begins the next)."""
        done = None
        if self._t:
            elapsed = t_s - self._t[0]
            if t_s - self._t[-1] > self._tuning.fresh_s:
                done = self.flush()
            elif elapsed >= self._tuning.block_s and elapsed >= self._span_s(elapsed / len(self._t)):
                done = self._close()
                self.clear()
        self._t.append(t_s)
        self._theta.append(theta_s)
        self._mass.append(mass)
        self._dp.append(_UNKNOWN if dp_pa is None else self._lags.add(t_s, dp_pa))
        self._gate.append(in_gate)
        return done

    def flush(self) -> Block | None:
        """Closes what there is, if it is enough for a block."""
        done = self._close() if len(self._t) >= self._tuning.block_min else None
        self.clear()
        return done

    def _close(self) -> Block:
        stamped = np.array(self._t)
        t, mass, dp = spread_bunched(stamped), np.array(self._mass), np.array(self._dp)
        theta = np.array(self._theta)
        slope_theta = (theta[-1] - theta[0]) / max(stamped[-1] - stamped[0], 1e-9)
        kept, level, scatter, middle = self._fit(t, mass, dp)
        self.scatter = scatter
        kpa, kpa_slope = _level_and_slope(t - middle, dp[:, self._lags.best] / 1000.0)
        theta_mid = theta.mean() - slope_theta * (stamped.mean() - middle)
        return Block(
            t_s=middle,
            theta_s=float(theta_mid),
            span_s=float(t[-1] - t[0]) * t.size / max(t.size - 1, 1),
            mass=level,
            kpa=kpa,
            kpa_per_s=kpa_slope,
            count=kept,
            scatter=scatter,
            aliased=self._is_aliased(t),
            time_sd=STAMP_SD_S + BUNCH_DOUBT * float(np.max(stamped - t)) / math.sqrt(t.size),
            in_gate=all(self._gate),
        )

    def _is_aliased(self, t: Array) -> bool:
        """Whether this sampling rate turns the nozzle's mark into a wave too slow for blocks to see."""
        span = float(t[-1] - t[0])
        if self._turn_s is None or span <= 0:
            return False
        hz = (t.size - 1) / span
        for mark in (1.0 / self._turn_s, 2.0 / self._turn_s):
            whole = round(mark / hz)
            if whole >= 1 and abs(mark - whole * hz) * span < SLOW_WAVE:
                return True
        return False

    def _fit(self, t: Array, mass: Array, dp: Array) -> tuple[int, float, float, float]:
        """(readings kept, level at their mean time, scatter, that mean time)."""
        basis, level, rest, middle = self._line(t, mass)
        size = np.abs(rest)
        sigma = 1.4826 * float(np.sort(size)[t.size // 2])
        keep = size <= self._tuning.spike_sigmas * sigma + 1e-12
        kept = int(np.count_nonzero(keep))
        if sigma > 0 and max(3, 0.6 * t.size) <= kept < t.size:
            t, mass, dp = t[keep], mass[keep], dp[keep]
            basis, level, rest, middle = self._line(t, mass)
        freedom = t.size - basis.shape[1]
        if freedom > 2 and all(self._gate) and not np.isnan(dp).any():
            self._lags.learn(basis, rest, dp)
        return t.size, level, math.sqrt(float(rest @ rest) / max(freedom, 1)), middle

    def _shows_turns(self, t: Array) -> bool:
        """Enough readings at different times over most of a turn to fit its harmonics."""
        least, turn_s = self._tuning.harmonics_min, self._turn_s or 0.0
        many = t.size >= least and int(np.count_nonzero(np.diff(t))) > least // 2
        return many and float(t[-1] - t[0]) > 0.7 * turn_s

    def _line(self, t: Array, mass: Array) -> tuple[Array, float, Array, float]:
        """(orthonormal basis, level, what is left over, mean time) of level, slope and turns of the nozzle."""
        middle = float(t.sum()) / t.size
        dt = t - middle
        length = math.sqrt(float(dt @ dt)) or 1.0
        columns = [np.full(t.size, 1.0 / math.sqrt(t.size)), dt / length]
        if self._turn_s is None or not self._shows_turns(t):
            basis = np.column_stack(columns)
            along = basis.T @ mass
            return basis, float(along[0]) / math.sqrt(t.size), mass - basis @ along, middle
        angle = 2 * math.pi * dt / self._turn_s
        columns += [np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)]
        basis, upper = np.linalg.qr(np.column_stack(columns))
        along = basis.T @ mass
        level = float(np.linalg.lstsq(upper, along, rcond=None)[0][0]) / math.sqrt(t.size)
        return basis, level, mass - basis @ along, middle


def _level_and_slope(dt: Array, values: Array) -> tuple[float, float]:
    """Mean and slope of what is known; nan and 0 where nothing is."""
    seen = ~np.isnan(values)
    if not seen.all():
        dt, values = dt[seen], values[seen]
    if values.size < 2:
        return (float(values[0]) if values.size else math.nan), 0.0
    centred = dt - dt.mean()
    spread = float(centred @ centred)
    return float(values.mean()), float(centred @ values) / spread if spread > 0 else 0.0
