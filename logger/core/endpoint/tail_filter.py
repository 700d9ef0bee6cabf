"""The load on the sieve as a falling tail seen through a balance: an extended Kalman filter, block by block.

Unknowns, loads in % of the charge: load, x = ln rate (%/s at nominal pressure), y = ln of the decay of x
per second of effective time, z = bend of y (see parameters.py), level offset of the segment, drift (%/s),
suction coefficient (%/kPa), the same times the lag (% s/kPa), and four relaxing components that together
make 1/f noise. Rate and decay cannot turn negative; the load's error knows of the balance's.

Source: Kalman 1960, and the extension to smooth non-linear models found in any text on estimation.
"""

from __future__ import annotations

import copy
import math

import numpy as np
from numpy.typing import NDArray

from logger.core.endpoint.parameters import Tuning

Array = NDArray[np.float64]
LOAD, X, Y, Z, LEVEL, DRIFT, COUPLING, LAG, FLICKER = range(9)
COMPONENTS = 4
SIZE = FLICKER + COMPONENTS
MAX_LN_STEP = 0.15
MAX_LEAP = 0.5
OPEN_LOAD_PCT = 30.0
_IDENTITY = np.eye(SIZE)
_DIAGONAL = slice(None, None, SIZE + 1)


class TailFilter:
    """State and covariance; `predict` moves in time, `update` takes one block's mean."""

    def __init__(
        self, tuning: Tuning, drift_sd: float, coupling_sd: float, lag_sd: float, load_sd: float
    ) -> None:
        self._tuning = tuning
        self.state: Array = np.zeros(SIZE)
        self.cov: Array = np.zeros((SIZE, SIZE))
        self.state[LOAD] = 100.0
        for index, sd in ((LOAD, load_sd), (DRIFT, drift_sd), (COUPLING, coupling_sd), (LAG, lag_sd)):
            self.cov[index, index] = sd * sd
        ratio = tuning.flicker_ratio
        taus = tuning.flicker_first_s * ratio ** np.arange(COMPONENTS, dtype=np.float64)
        self._minus_rates: Array = -1.0 / taus
        self._ones: Array = np.ones(SIZE)
        self._density = 0.0
        self.sieving = False
        self.evidence = 0.0

    def set_flicker(self, density: float) -> None:
        """Changes the strength K of the spectrum K/f of the 1/f noise, %^2; components not yet seen take it at once."""
        first = self._density == 0.0
        self._density = density
        if first:
            diagonal = range(FLICKER, SIZE)
            self.cov[diagonal, diagonal] = self._component_var()

    def _component_var(self) -> float:
        return self._density * math.log(self._tuning.flicker_ratio)

    def pull_down(self, force: float, mass: float) -> None:
        """Suction is on: the level takes the expected force, and the load, open after the first seconds of bulk
        passing, is what is left of `mass`.

        The level's doubt is kept apart from the coupling's: what a run teaches about the coupling comes out a
        little low, and must not move the load.
        """
        self.state[LEVEL] += force
        self.state[LOAD] = mass - self.state[LEVEL]
        self.cov[LOAD, :] = self.cov[:, LOAD] = 0.0
        self.cov[LOAD, LOAD] = OPEN_LOAD_PCT**2

    def begin_tail(self, rate_pct_per_s: float, rate_sd: float, decay_per_s: float, level_sd: float) -> None:
        """First guess of rate (`rate_sd` relative) and decay; the level is open by `level_sd` (%)."""
        self.state[[X, Y, Z]] = math.log(max(rate_pct_per_s, 1e-5)), math.log(decay_per_s), -0.3
        for index, sd in ((X, min(rate_sd, 1.5)), (Y, 0.4), (Z, 0.5)):
            self.cov[index, :] = self.cov[:, index] = 0.0
            self.cov[index, index] = sd * sd
        self.cov[LEVEL, LEVEL] += level_sd * level_sd
        self.sieving = True
        self.evidence = 0.0

    def copy(self) -> TailFilter:
        """An independent twin."""
        twin = copy.copy(self)
        twin.state, twin.cov = self.state.copy(), self.cov.copy()
        return twin

    def free_level(self, sd: float) -> None:
        """A new segment: the level offset is open again, everything else is kept."""
        self.cov[LEVEL, LEVEL] += sd * sd

    def loosen_rate(self, sd: float) -> None:
        """Something changed the rate itself (hands on the rig)."""
        self.cov[X, X] += sd * sd

    def predict(self, theta_s: float, dtheta_s: float, dt_s: float) -> float:
        """Moves from effective time `theta_s` by `dtheta_s`, in `dt_s` of clock time; returns the loss (%)."""
        self._relax_flicker(dt_s)
        self._drift_on(dt_s)
        if not self.sieving or dtheta_s <= 0:
            return 0.0
        steps = min(max(math.ceil(math.log1p(dtheta_s / theta_s) / MAX_LN_STEP), 1), 30)
        loss = 0.0
        for step in range(steps):
            loss += self._move(theta_s + step * dtheta_s / steps, dtheta_s / steps)
        return loss

    def _relax_flicker(self, dt_s: float) -> None:
        keep = self._ones.copy()
        keep[FLICKER:] = np.exp(dt_s * self._minus_rates)
        self.state *= keep
        self.cov *= keep[:, None] * keep
        self.cov.flat[_DIAGONAL] += self._component_var() * (1.0 - keep * keep)

    def _drift_on(self, dt_s: float) -> None:
        self.state[LEVEL] += dt_s * self.state[DRIFT]
        self.cov[LEVEL, :] += dt_s * self.cov[DRIFT, :]
        self.cov[:, LEVEL] += dt_s * self.cov[:, DRIFT]

    def _move(self, theta_s: float, h: float) -> float:
        tuning, state = self._tuning, self.state
        rate, decay = math.exp(state[X]), math.exp(state[Y])
        faded = math.exp(-decay * h)
        loss = rate * (1.0 - faded) / decay
        dl = math.log1p(h / theta_s)
        keep_z = math.exp(-dl / tuning.memory_z)
        change = _IDENTITY.copy()
        change[LOAD, X] = -loss
        change[LOAD, Y] = loss - rate * h * faded
        change[X, Y] = -decay * h
        change[Y, Z] = dl
        change[Z, Z] = keep_z
        state[LOAD] -= loss
        state[X] -= decay * h
        state[Y] = min(state[Y] + state[Z] * dl, math.log(tuning.steepest / (theta_s + h)))
        state[Z] = tuning.mean_z + (state[Z] - tuning.mean_z) * keep_z
        self.cov = change @ self.cov @ change.T
        self.cov[LOAD, LOAD] += (tuning.misfit_share * loss) ** 2
        self.cov[X, X] += tuning.sigma_x**2 * dl
        self.cov[Y, Y] += tuning.sigma_y**2 * dl
        self.cov[Z, Z] += tuning.sigma_z**2 * (1.0 - keep_z * keep_z)
        return loss

    def innovation(self, y: float, row: Array, span_s: float) -> tuple[float, float]:
        """(measured less expected mean of a block `span_s` long, variance without the block's own noise)."""
        return y - float(row @ self.state) - self._hollow(span_s), float(row @ self.cov @ row)

    def _hollow(self, span_s: float) -> float:
        """How much the mean over a block lies above the load at its middle (the load's curve is hollow)."""
        if not self.sieving:
            return 0.0
        return math.exp(min(self.state[X] + self.state[Y], 5.0)) * span_s * span_s / 24.0

    def update(self, surprise: float, row: Array, noise_var: float) -> None:
        """Takes one block by its innovation; also adds up the evidence for this filter."""
        gain = self.cov @ row
        s = float(row @ gain) + noise_var
        self.evidence -= 0.5 * (min(surprise * surprise / s, 50.0) + math.log(s))
        # A linear filter may not leap in the logarithms: a leap is taken as a noisier block.
        leap = abs(surprise) / s * max(abs(gain[X]), abs(gain[Y]))
        s *= max(leap / MAX_LEAP, 1.0)
        self.state += gain * (surprise / s)
        self.cov -= np.outer(gain, gain) / s
        self.cov = 0.5 * (self.cov + self.cov.T)

    def rate(self, theta_s: float, ahead_s: float) -> tuple[float, float]:
        """(rate at nominal pressure `ahead_s` effective seconds after `theta_s`, its standard error), % of the charge
        per minute. Ahead the tail goes on as a power of time."""
        dl = math.log1p(ahead_s / theta_s) if theta_s > 0 else 0.0
        drop = math.exp(min(self.state[Y], 0.0)) * theta_s * dl
        value = 60.0 * math.exp(self.state[X] - drop)
        cov = self.cov
        var = cov[X, X] - 2.0 * drop * cov[X, Y] + drop * drop * cov[Y, Y] + self._tuning.sigma_x**2 * dl
        return value, value * math.sqrt(max(float(var), 0.0))


def measurement_row(kpa: float, kpa_per_s: float) -> Array:
    """Sensitivities of a block's mean to the unknowns; pressures relative to nominal once the jet runs."""
    row = np.zeros(SIZE)
    row[LOAD] = row[LEVEL] = 1.0
    row[COUPLING], row[LAG] = kpa, kpa_per_s
    row[FLICKER:] = 1.0
    return row
