"""When the rate will reach the limit, with an interval."""

from __future__ import annotations

import math

import numpy as np

from logger.core.endpoint.assessment import Forecast
from logger.core.endpoint.parameters import Tuning
from logger.core.endpoint.tail_filter import X, Y, Z
from logger.core.endpoint.tracker import TailTracker

DRAWS = 200
STEPS = 40
FARTHEST = 6.0
"""Crossings beyond this many times the time sieved so far are cut there."""
_RNG = np.random.default_rng(20)
_DRAWN = _RNG.normal(size=(DRAWS, 3))
_BENDS = _RNG.normal(size=(STEPS, DRAWS))
_WANDER = _RNG.normal(size=(STEPS, DRAWS))


def forecast_crossing(
    tracker: TailTracker, tuning: Tuning, ratio: float, limit_pct_per_min: float
) -> Forecast:
    """Draws tails from the tracker's state and its law of change, and reads off when each crosses the limit.

    `ratio` is dP/dP0 now: effective seconds to come take 1/ratio s each. Deterministic: the draws are fixed.
    """
    tail, theta_s = tracker.filter, tracker.theta_s
    t_s = tracker.last.t_s if tracker.last is not None else 0.0
    keep = [X, Y, Z]
    cov = tail.cov[np.ix_(keep, keep)] * max(tracker.chi2, 1.0)
    values, vectors = np.linalg.eigh(cov)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    x, y, z = (tail.state[keep] + _DRAWN @ root.T).T
    goal = math.log(limit_pct_per_min / 60.0)
    dl = math.log(FARTHEST) / STEPS
    keep_z = math.exp(-dl / tuning.memory_z)
    bend_sd = tuning.sigma_z * math.sqrt(1 - keep_z**2)
    cross = np.where(x <= goal, theta_s, np.nan)
    theta = theta_s
    for step in range(STEPS):
        width = theta * math.expm1(dl)
        fall = np.exp(y) * width
        wander = tuning.sigma_x * math.sqrt(dl) * _WANDER[step]
        x_next = x - fall + wander
        hit = np.isnan(cross) & (x_next <= goal)
        share = np.clip((x - goal) / np.maximum(x - x_next, 1e-12), 0.0, 1.0)
        cross = np.where(hit, theta + share * width, cross)
        y = y + z * dl
        z = tuning.mean_z + (z - tuning.mean_z) * keep_z + bend_sd * _BENDS[step]
        x, theta = x_next, theta + width
    cross = np.where(np.isnan(cross), theta, cross)
    low, middle, high = np.quantile(cross, [0.05, 0.5, 0.95])
    scale = 1.0 / max(ratio, 0.2)
    at = [t_s + (value - theta_s) * scale for value in (float(middle), float(low), float(high))]
    return Forecast(made_at_s=t_s, t_s=at[0], low_s=at[1], high_s=at[2])
