"""A line chart of block characters, two by two pixels a cell, drawn by hand to stay cheap.

Each column shows the lowest and the highest value in its time, so that no spike is thinned away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from logger.console.pixels import pack_quadrants
from logger.console.words import duration

LABEL_CELLS = 6
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Axes:
    """The chart's window: seconds across, values up."""

    start_s: float
    end_s: float
    bottom: float
    top: float


def time_line(axes: Axes, width: int) -> str:
    """The row under a chart: the times at its two ends."""
    first, last = duration(axes.start_s), duration(axes.end_s)
    return " " * LABEL_CELLS + first + last.rjust(max(0, width - LABEL_CELLS - len(first)))


def draw(
    points: Sequence[Point],
    axes: Axes,
    width: int,
    height: int,
    *,
    rules: Sequence[float] = (),
    marks: Sequence[Point] = (),
) -> list[str]:
    """`height` rows of `width` cells: labels at the left, the line, dotted rules, marks as diamonds."""
    across = width - LABEL_CELLS
    if across < 4 or height < 1:
        return []
    rows = [list(row.ljust(across)) for row in pack_quadrants(_ink(points, axes, across * 2, height * 2))]
    for value in rules:
        _rule(rows, axes, value)
    for at_s, value in marks:
        row = _pixel(value, axes.bottom, axes.top, height)
        rows[height - 1 - row][_pixel(at_s, axes.start_s, axes.end_s, across)] = "◆"
    return [_label(axes, index, height) + "".join(row) for index, row in enumerate(rows)]


def _label(axes: Axes, index: int, height: int) -> str:
    if index == 0:
        return f"{axes.top:.0f}".rjust(LABEL_CELLS - 1) + "┤"
    if index == height - 1:
        return f"{axes.bottom:.0f}".rjust(LABEL_CELLS - 1) + "┤"
    return " " * (LABEL_CELLS - 1) + "│"


def _pixel(value: float, low: float, high: float, count: int) -> int:
    share = (value - low) / (high - low) if high > low else 0.0
    return round(min(1.0, max(0.0, share)) * (count - 1))


def _ink(points: Sequence[Point], axes: Axes, width: int, height: int) -> list[str]:
    canvas = [bytearray(b"." * width) for _ in range(height)]
    previous: tuple[int, int] | None = None
    for at_s, value in points:
        x = _pixel(at_s, axes.start_s, axes.end_s, width)
        y = height - 1 - _pixel(value, axes.bottom, axes.top, height)
        _stroke(canvas, previous or (x, y), (x, y))
        previous = (x, y)
    return [row.decode("ascii") for row in canvas]


def _stroke(canvas: list[bytearray], start: tuple[int, int], end: tuple[int, int]) -> None:
    """A straight line of ink from pixel to pixel, both ends included."""
    (x, y), (x2, y2) = start, end
    steps = max(abs(x2 - x), abs(y2 - y), 1)
    for step in range(steps + 1):
        canvas[round(y + (y2 - y) * step / steps)][round(x + (x2 - x) * step / steps)] = 35


def _rule(rows: list[list[str]], axes: Axes, value: float) -> None:
    if not axes.bottom <= value <= axes.top:
        return
    row = rows[len(rows) - 1 - _pixel(value, axes.bottom, axes.top, len(rows))]
    row[:] = ["┄" if cell == " " else cell for cell in row]
