"""Control chart of a reference powder over time: has the test, or its sieve, moved?

Single values, mean and spread from a starting series (spread by the moving range / 1.128), warning at
2 s, action at 3 s, and the usual run rules (ISO 7870-2, from memory; common practice).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from logger.core.refusal import require, require_finite

Signal = Literal["none", "warning", "action"]

_RANGE_TO_SD = 1.128
"""Mean moving range of two over the standard deviation, normal distribution."""

ONE_SIDE, STEADY = 8, 6
"""Points in a row on one side of the centre, and in a row rising or falling, that are no chance."""

LEAST_START = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPoint:
    """One result with its distance from the centre in standard deviations and what it signals."""

    value_pct: float
    distance: float
    signal: Signal
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ControlChart:
    """Centre and limits, % of the charge, with every point judged in its place in the series."""

    centre_pct: float
    sd_pct: float
    warning_pct: tuple[float, float]
    action_pct: tuple[float, float]
    points: tuple[ChartPoint, ...]


def control_limits(start_pct: Sequence[float]) -> tuple[float, float]:
    """Centre and standard deviation from a starting series of eight or more results, in time order."""
    require(
        len(start_pct) >= LEAST_START,
        f"a control chart needs {LEAST_START} or more results of the reference powder to start, "
        f"there are {len(start_pct)}",
    )
    require_finite(**{f"result {i}": v for i, v in enumerate(start_pct, start=1)})
    ranges = [abs(b - a) for a, b in pairwise(start_pct)]
    sd = math.fsum(ranges) / len(ranges) / _RANGE_TO_SD
    require(sd > 0, "all starting results are equal: enter them with more digits")
    return math.fsum(start_pct) / len(start_pct), sd


def control_chart(values_pct: Sequence[float], centre_pct: float, sd_pct: float) -> ControlChart:
    """Judge results in time order against a centre and spread that were fixed before."""
    require(sd_pct > 0, "the spread of a control chart must be above zero")
    require_finite(centre_pct=centre_pct, **{f"result {i}": v for i, v in enumerate(values_pct, start=1)})
    distances = [(value - centre_pct) / sd_pct for value in values_pct]
    return ControlChart(
        centre_pct=centre_pct,
        sd_pct=sd_pct,
        warning_pct=(centre_pct - 2 * sd_pct, centre_pct + 2 * sd_pct),
        action_pct=(centre_pct - 3 * sd_pct, centre_pct + 3 * sd_pct),
        points=tuple(_judge(values_pct, distances, i) for i in range(len(distances))),
    )


def _judge(values: Sequence[float], distances: Sequence[float], at: int) -> ChartPoint:
    signal, reason = _signal(distances[: at + 1])
    return ChartPoint(value_pct=values[at], distance=distances[at], signal=signal, reason=reason)


def _signal(seen: Sequence[float]) -> tuple[Signal, str]:
    """What the newest of the points seen so far signals."""
    newest, side = seen[-1], math.copysign(1, seen[-1])
    if abs(newest) > 3:
        return "action", "beyond the action limit: stop using sieve and test until the cause is found"
    if abs(newest) > 2 and sum(side * d > 2 for d in seen[-3:]) >= 2:
        return "action", "two of three beyond the same warning limit"
    if len(seen) >= ONE_SIDE and all(side * d > 0 for d in seen[-ONE_SIDE:]):
        return "action", f"{ONE_SIDE} in a row on one side of the centre: the level has moved"
    steps = [b - a for a, b in pairwise(seen[-STEADY:])]
    if len(seen) >= STEADY and (all(s > 0 for s in steps) or all(s < 0 for s in steps)):
        return "warning", f"{STEADY} in a row {'rising' if steps[0] > 0 else 'falling'}: the sieve may wear"
    return ("warning", "beyond a warning limit") if abs(newest) > 2 else ("none", "")
