"""What only a simulator knows: the true load and its true rate. For studies and tests, never on the wire."""

from __future__ import annotations

from bisect import bisect_right
from collections import deque

KEPT = 100_000
"""Points kept, one a second of bench time: more than a day."""


class Truth:
    """History of true load and rate on the bench's time axis, interpolated between points."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float, float, float]] = deque(maxlen=KEPT)

    def note(self, t_s: float, load_g: float, rate_g_per_min_nominal: float, charge_g: float) -> None:
        """Adds a point; `t_s` never falls."""
        self._points.append((t_s, load_g, rate_g_per_min_nominal, charge_g))

    def load_g(self, t_s: float) -> float:
        """Powder on the mesh at `t_s`."""
        return self._at(t_s, 1)

    def rate_pct_per_min_nominal(self, t_s: float) -> float:
        """Share of the charge that the load would lose per minute at nominal pressure, in % (0 without one)."""
        charge_g = self._at(t_s, 3)
        return 100.0 * self._at(t_s, 2) / charge_g if charge_g > 0 else 0.0

    def crossing_s(self, limit_pct_per_min: float, after_s: float) -> float | None:
        """First point after `after_s` at which the true rate is at or below the limit; None if there is none."""
        for t_s, _load, rate, charge_g in self._points:
            if t_s > after_s and charge_g > 0 and 100.0 * rate / charge_g <= limit_pct_per_min:
                return t_s
        return None

    def _at(self, t_s: float, column: int) -> float:
        if not self._points:
            return 0.0
        k = bisect_right(self._points, t_s, key=lambda point: point[0])
        if k == 0 or k == len(self._points):
            return self._points[min(k, len(self._points) - 1)][column]
        before, after = self._points[k - 1], self._points[k]
        share = (t_s - before[0]) / (after[0] - before[0]) if after[0] > before[0] else 1.0
        return before[column] + share * (after[column] - before[column])
