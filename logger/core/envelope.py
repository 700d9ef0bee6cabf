"""Is a run like those before it? Its load against the loads of earlier runs of the same method at the same time.

A remark for the person at the rig, not a test of anything: it neither stops a run nor enters a result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

FEWEST = 3
"""Two earlier runs span no envelope."""
LEAST_PCT = 1.0
"""Loads closer than this (% of the charge) are alike, however close together the earlier ones were."""
SHARE = 1.0
"""How far outside the earlier ones, as a share of their spread. With five like runs and normal scatter a
sixth lies so far outside about once in thirty times (computed with numpy, 1e6 draws)."""
Points = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Beside:
    """The load (% of the charge) beside the lowest and the highest of `count` earlier runs at this time."""

    word: Literal["like", "slower", "faster"]
    count: int
    load_pct: float
    low_pct: float
    high_pct: float


def beside_earlier(
    t_s: float, load_pct: float, earlier: Sequence[Points], slack_s: float = 0.0
) -> Beside | None:
    """Judges the load after `t_s`; a run that was over by then keeps its last load.

    `earlier` holds (time in s, load in % of the charge) in order of time, with the same clock as `t_s`. Their
    lowest and highest are taken over `slack_s` before and after, since clocks of two runs are not alike to the second.
    None while fewer than FEWEST earlier runs are known at this time.
    """
    known = [points for points in earlier if points and points[0][0] <= t_s - slack_s]
    if len(known) < FEWEST:
        return None
    now = [_load_at(points, t_s) for points in known]
    low = min(_load_at(points, t_s + slack_s) for points in known)
    high = max(_load_at(points, t_s - slack_s) for points in known)
    room = max(LEAST_PCT, SHARE * (max(now) - min(now)))
    word: Literal["like", "slower", "faster"] = "like"
    if load_pct > high + room:
        word = "slower"
    elif load_pct < low - room:
        word = "faster"
    return Beside(word, len(known), load_pct, low, high)


def _load_at(points: Points, t_s: float) -> float:
    before = points[0]
    for point in points:
        if point[0] > t_s:
            share = (t_s - before[0]) / (point[0] - before[0])
            return before[1] + (point[1] - before[1]) * share
        before = point
    return before[1]
