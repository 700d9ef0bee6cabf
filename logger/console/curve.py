"""A curve that grows for hours in bounded room: the lowest and the highest value of each stretch of time.

Neighbours are merged when there are too many, so that a short spike stays as high as it was.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

MOST = 600
"""Stretches kept: about two a column of a wide chart."""
Point = tuple[float, float]


@dataclass(slots=True)
class Curve:
    """Columns of equal length. `joined[i]`: nothing was missing between stretch i-1 and i."""

    t_s: list[float] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)
    joined: list[bool] = field(default_factory=list)
    _span_s: float = 0.0
    _whole: bool = False

    @classmethod
    def of(cls, points: Iterable[Point]) -> Curve:
        """A curve through the points."""
        curve = cls()
        for t_s, value in points:
            curve.add(t_s, value)
        return curve

    def add(self, t_s: float, value: float | None, high: float | None = None) -> None:
        """A value (or a stretch up to `high`) at this time, None where one is missing. Time never falls."""
        if value is None:
            self._whole = False
        elif self.t_s and self._whole and t_s < self.t_s[-1] + self._span_s:
            self.low[-1] = min(self.low[-1], value)
            self.high[-1] = max(self.high[-1], value if high is None else high)
        else:
            self._append(t_s, value, value if high is None else high)

    def _append(self, t_s: float, low: float, high: float) -> None:
        self.t_s.append(t_s)
        self.low.append(low)
        self.high.append(high)
        self.joined.append(self._whole)
        self._whole = True
        if len(self.t_s) > MOST:
            self._merge()

    def _merge(self) -> None:
        """Every second stretch goes into the one before it; an odd one at the end stays."""
        pairs = range(0, len(self.t_s), 2)
        self.low = [min(self.low[at : at + 2]) for at in pairs]
        self.high = [max(self.high[at : at + 2]) for at in pairs]
        self.t_s, self.joined = self.t_s[::2], self.joined[::2]
        self._span_s = 2 * (self.t_s[-1] - self.t_s[0]) / MOST
