"""Simple endpoint rules that people use, kept to be compared with: a minute's difference, a sliding slope."""

from __future__ import annotations

import math
from collections import deque

RESUM_EVERY = 512
"""Running sums lose digits; they are added up anew after so many readings."""


class SlidingSlope:
    """Least-squares slope over the last `window_s`, by running sums (g per s when fed with s and g)."""

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        self._points: deque[tuple[float, float]] = deque()
        self._origin = (0.0, 0.0)
        self._t = self._m = self._tt = self._tm = 0.0
        self._since = 0

    def add(self, t_s: float, mass_g: float) -> None:
        """Takes a reading and forgets those older than the window."""
        if not self._points:
            self._origin = (t_s, mass_g)
        self._points.append((t_s, mass_g))
        self._count(t_s, mass_g, 1.0)
        while self._points[0][0] < t_s - self._window_s:
            self._count(*self._points.popleft(), -1.0)
        self._since += 1
        if self._since >= RESUM_EVERY:
            self._resum()

    def _count(self, t_s: float, mass_g: float, sign: float) -> None:
        t, m = t_s - self._origin[0], mass_g - self._origin[1]
        self._t += sign * t
        self._m += sign * m
        self._tt += sign * t * t
        self._tm += sign * t * m

    def _resum(self) -> None:
        self._since = 0
        self._origin = self._points[0]
        t = [p[0] - self._origin[0] for p in self._points]
        m = [p[1] - self._origin[1] for p in self._points]
        self._t, self._m = math.fsum(t), math.fsum(m)
        self._tt = math.fsum(a * a for a in t)
        self._tm = math.fsum(a * b for a, b in zip(t, m, strict=True))

    @property
    def full(self) -> bool:
        """Whether the readings cover the window."""
        return len(self._points) > 2 and self._points[-1][0] - self._points[0][0] > 0.95 * self._window_s

    @property
    def slope(self) -> float:
        """The slope; 0 while there are fewer than two times."""
        n = len(self._points)
        spread = n * self._tt - self._t * self._t
        return (n * self._tm - self._t * self._m) / spread if n > 1 and spread > 0 else 0.0


class SlopeRule:
    """Stops when the loss by a sliding slope is at or below the limit: what a naive logger would do."""

    def __init__(self, window_s: float, charge_g: float, limit_pct_per_min: float, earliest_s: float) -> None:
        self._slope = SlidingSlope(window_s)
        self._scale, self._limit, self._earliest_s = 6000.0 / charge_g, limit_pct_per_min, earliest_s
        self.stop_s: float | None = None

    def add(self, t_s: float, mass_g: float) -> None:
        """One reading of sieving."""
        self._slope.add(t_s, mass_g)
        if self.stop_s is None and t_s >= self._earliest_s and self._slope.full:
            rate = -self._slope.slope * self._scale
            self.stop_s = t_s if rate <= self._limit else None


class MinuteRule:
    """The literal rule: readings a minute apart, stop when the loss in that minute is at or below the limit."""

    def __init__(self, charge_g: float, limit_pct_per_min: float, earliest_s: float) -> None:
        self._charge_g, self._limit, self._earliest_s = charge_g, limit_pct_per_min, earliest_s
        self._last: tuple[float, float] | None = None
        self.stop_s: float | None = None

    def add(self, t_s: float, mass_g: float) -> None:
        """One reading of sieving."""
        if self._last is None:
            self._last = (t_s, mass_g)
        if t_s - self._last[0] < 60.0:
            return
        rate = 6000.0 * (self._last[1] - mass_g) / self._charge_g / (t_s - self._last[0])
        self._last = (t_s, mass_g)
        if self.stop_s is None and t_s >= self._earliest_s and rate <= self._limit:
            self.stop_s = t_s
