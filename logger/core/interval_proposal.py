"""Where to put the next weighing so that the last one falls at the expected crossing of the loss-rate limit.

Between two intervals the rate of a near-mesh tail falls as a power of time, r ~ t^-e. The exponent is taken
from the last two interval rates, and only when noise leaves it meaningful. A tail that is one exponential
falls faster; so a crossing far away is taken from the exponential through the same two rates, which comes
early rather than late, and the power law decides only the last step.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

MAX_STRETCH = 5.0
"""Longest proposal in usual intervals: an agglomerate that breaks late must still be seen in time."""
EXPONENT_RANGE = (0.7, 4.0)
"""Exponents seen near the crossing in simulations run from 1.3 to 3; beyond this range it is noise."""
USABLE_RATE = 4.0
"""A rate must be this many standard errors above zero before its logarithm says anything."""


def expected_interval_s(
    times_s: Sequence[float],
    loads_pct: Sequence[float],
    noise_pct: float,
    limit_pct_per_min: float,
    usual_s: float,
) -> float:
    """Length of the next interval in effective s, never shorter than `usual_s`.

    `loads_pct` are loads in % of the charge, `noise_pct` the standard uncertainty of one of them. When the
    crossing is more than two usual intervals away, the proposal leaves exactly one usual interval for the
    last weighing; when it is nearer, this interval is to be the last one.
    """
    tail = _power_tail(times_s, loads_pct, noise_pct)
    if tail is None:
        return usual_s
    rate, mid_s, exponent = tail
    now_s = times_s[-1]

    def from_now(length_s: float) -> float:
        return _mean_power(rate, mid_s, exponent, now_s, now_s + length_s) - limit_pct_per_min

    if from_now(2.0 * usual_s) <= 0:
        return _root(from_now, usual_s, 2.0 * usual_s)
    decay = exponent / mid_s  # of the exponential that falls as the power law does at mid_s
    if rate <= limit_pct_per_min or decay <= 0:
        return usual_s
    crossing_s = mid_s + math.log(rate / limit_pct_per_min) / decay
    return min(max(crossing_s - usual_s - now_s, usual_s), MAX_STRETCH * usual_s)


def _power_tail(
    times_s: Sequence[float], loads_pct: Sequence[float], noise_pct: float
) -> tuple[float, float, float] | None:
    """(rate %/min, its time s, exponent) of the tail, or None when the weighings do not show one."""
    if len(times_s) < 3:
        return None
    rates, mids = [], []
    for i in (-2, -1):
        minutes = (times_s[i] - times_s[i - 1]) / 60.0
        rate = (loads_pct[i - 1] - loads_pct[i]) / minutes
        if rate <= USABLE_RATE * math.sqrt(2.0) * noise_pct / minutes:
            return None
        rates.append(rate)
        mids.append(0.5 * (times_s[i] + times_s[i - 1]))
    exponent = math.log(rates[0] / rates[1]) / math.log(mids[1] / mids[0])
    low, high = EXPONENT_RANGE
    return rates[1], mids[1], min(max(exponent, low), high)


def _mean_power(rate: float, mid_s: float, exponent: float, start_s: float, end_s: float) -> float:
    """Mean over [start, end] of rate (t/mid)^-exponent."""
    if abs(exponent - 1.0) < 1e-6:
        return rate * mid_s * math.log(end_s / start_s) / (end_s - start_s)
    power = 1.0 - exponent
    scale = rate * mid_s / power
    mean: float = scale * ((end_s / mid_s) ** power - (start_s / mid_s) ** power) / (end_s - start_s)
    return mean


def _root(falling: Callable[[float], float], low: float, high: float) -> float:
    """Where a falling function crosses zero, by halving; the nearer end when it does not in between."""
    if falling(low) <= 0:
        return low
    if falling(high) > 0:
        return high
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if falling(middle) > 0 else (low, middle)
    return high
