"""The window of a chart: seconds across, values up, on a linear or a logarithmic axis."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from logger.console.words import duration

LABEL_CELLS = 6
DECADES_MOST = 4.0
"""A log axis reaches no further down than this from its top."""


@dataclass(frozen=True, slots=True)
class Axes:
    """`bottom` must be above zero when `log`."""

    start_s: float
    end_s: float
    bottom: float
    top: float
    log: bool = False

    def across(self, t_s: float, count: int) -> int:
        """The column of `count` that holds this time; the nearest when it is outside."""
        return _nearest(t_s, self.start_s, self.end_s, count)

    def up(self, value: float, count: int) -> int:
        """The row of `count`, counted from below, that holds this value; the nearest when it is outside."""
        if not self.log:
            return _nearest(value, self.bottom, self.top, count)
        shown = max(value, self.bottom)
        return _nearest(math.log(shown), math.log(self.bottom), math.log(self.top), count)

    def label(self, value: float) -> str:
        """A value at the left of its row, with its tick."""
        shown = f"{value:.3g}" if self.log or abs(value) < 1000 else f"{value:.0f}"
        return shown.rjust(LABEL_CELLS - 1)[: LABEL_CELLS - 1] + "┤"


def _nearest(value: float, low: float, high: float, count: int) -> int:
    share = (value - low) / (high - low) if high > low else 0.0
    return round(min(1.0, max(0.0, share)) * (count - 1))


def time_line(axes: Axes, width: int) -> str:
    """The row under a chart: the times at its two ends."""
    first, last = duration(axes.start_s), duration(axes.end_s)
    return " " * LABEL_CELLS + first + last.rjust(max(0, width - LABEL_CELLS - len(first)))


def linear_axes(end_s: float, values: Iterable[float]) -> Axes:
    """From zero time; edges on full tens, or full units when the range is small."""
    known = list(values) or [0.0, 100.0]
    low, high = min(known), max(known)
    step = 10.0 if high - low > 10 else 1.0
    bottom, top = (low // step) * step, -((-high) // step) * step
    return Axes(0.0, end_s, bottom, top if top > bottom else bottom + step)


def log_axes(end_s: float, values: Iterable[float], limit: float | None) -> Axes:
    """Edges on 1, 2 or 5 of a decade, with the limit well inside; what is not above zero is left out."""
    known = [each for each in values if each > 0] + ([limit / 2, 2 * limit] if limit else [])
    if not known:
        return Axes(0.0, end_s, 0.1, 10.0, log=True)
    top = _round_up(max(known))
    bottom = max(1 / _round_up(1 / min(known)), top / 10**DECADES_MOST)
    return Axes(0.0, end_s, bottom, top if top > bottom else 10 * bottom, log=True)


def _round_up(value: float) -> float:
    """The next of 1, 2, 5, 10 ... that is not below the value."""
    decade = 10.0 ** math.floor(math.log10(value))
    return next(each * decade for each in (1.0, 2.0, 5.0, 10.0, 20.0) if each * decade >= value * (1 - 1e-9))
