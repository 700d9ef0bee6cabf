"""A chart of characters: the live line two by two pixels a cell, what lies behind it in other shapes.

Nothing on it is told apart by colour alone: blocks are the run, dots are earlier runs, shade is an
uncertainty, dashes are limits, letters and diamonds are events.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from enum import IntEnum

from logger.console.axes import LABEL_CELLS, Axes
from logger.console.curve import Curve, Point
from logger.console.pixels import QUADRANTS

Runs = list[tuple[str, "Layer"]]
"""A row as pieces of text, each with what it belongs to."""


class Layer(IntEnum):
    """What a cell shows. A later one lies above an earlier one."""

    EMPTY = 0
    AXIS = 1
    GHOST = 2
    BAND = 3
    RULE = 4
    LIMIT = 5
    LIVE = 6
    MARK = 7


class Chart:
    """`width` cells with the labels at the left, `height` rows. Draw in any order, then read `rows()`."""

    def __init__(self, axes: Axes, width: int, height: int) -> None:
        self.axes = axes
        self._across, self._rows = width - LABEL_CELLS, height
        self.fits = self._across >= 4 and height >= 1
        cells = max(0, self._across) * max(0, height)
        self._chars = [" "] * cells
        self._layers = bytearray(cells)
        self._ink = bytearray(cells)
        self._labels = {0: axes.label(axes.bottom), height - 1: axes.label(axes.top)}

    def ghost(self, points: Sequence[Point]) -> None:
        """A dotted line that was once: one dot a column, straight between the points."""
        if not self.fits or not points:
            return
        last = self.axes.across(points[-1][0], self._across)
        at = 0
        for column in range(self.axes.across(points[0][0], self._across), last + 1):
            t_s = self.axes.start_s + (self.axes.end_s - self.axes.start_s) * column / (self._across - 1)
            while at + 2 < len(points) and points[at + 1][0] < t_s:
                at += 1
            self._put(column, self.axes.up(_between(points[at : at + 2], t_s), self._rows), "·", Layer.GHOST)

    def band(self, curve: Curve) -> None:
        """Shade from the lowest to the highest of each stretch."""
        for column, low, high, _ in self._columns(curve, self._across):
            for row in range(self.axes.up(low, self._rows), self.axes.up(high, self._rows) + 1):
                self._put(column, row, "░", Layer.BAND)

    def rule(self, value: float, layer: Layer = Layer.RULE) -> None:
        """A dashed line from side to side, with its value at the left where there is room."""
        if not self.axes.bottom <= value <= self.axes.top:
            return
        row = self.axes.up(value, self._rows)
        if layer is Layer.LIMIT or row not in self._labels:
            self._labels[row] = self.axes.label(value)
        for column in range(self._across):
            self._put(column, row, "┄", layer)

    def line(self, curve: Curve) -> None:
        """The run itself."""
        high = self._rows * 2
        before: tuple[int, int] | None = None
        for x, lowest, highest, joined in self._columns(curve, self._across * 2):
            y0, y1 = self.axes.up(lowest, high), self.axes.up(highest, high)
            middle = (y0 + y1) // 2
            self._stroke(before if before and joined else (x, middle), (x, middle))
            for y in range(y0, y1 + 1):
                self._dot(x, y)
            before = (x, middle)

    def _columns(self, curve: Curve, count: int) -> Iterator[tuple[int, float, float, bool]]:
        """Column, lowest, highest, and whether nothing is missing before it: each column once unless parted."""
        column, lowest, highest, whole = -1, 0.0, 0.0, False
        for t_s, low, high, joined in zip(curve.t_s, curve.low, curve.high, curve.joined, strict=True):
            at = self.axes.across(t_s, count)
            if at == column and joined:
                lowest, highest = min(lowest, low), max(highest, high)
                continue
            if column >= 0:
                yield column, lowest, highest, whole
            column, lowest, highest, whole = at, low, high, joined
        if column >= 0:
            yield column, lowest, highest, whole

    def mark(self, t_s: float, value: float, char: str = "◆") -> None:
        """One sign on the chart."""
        self._put(self.axes.across(t_s, self._across), self.axes.up(value, self._rows), char, Layer.MARK)

    def rows(self) -> list[Runs]:
        """From the top down; empty when there is no room to draw in."""
        if not self.fits:
            return []
        return [self._row(row) for row in reversed(range(self._rows))]

    def _row(self, row: int) -> Runs:
        runs: Runs = [(self._labels.get(row, " " * (LABEL_CELLS - 1) + "│"), Layer.AXIS)]
        start = row * self._across
        for cell in range(start, start + self._across):
            char, layer = self._chars[cell], Layer(self._layers[cell])
            if self._ink[cell] and layer < Layer.LIVE:
                char, layer = QUADRANTS[self._ink[cell]], Layer.LIVE
            if runs[-1][1] == layer:
                runs[-1] = (runs[-1][0] + char, layer)
            else:
                runs.append((char, layer))
        return runs

    def _put(self, column: int, row: int, char: str, layer: Layer) -> None:
        cell = row * self._across + column
        if self.fits and self._layers[cell] <= layer:
            self._chars[cell], self._layers[cell] = char, layer

    def _stroke(self, start: tuple[int, int], end: tuple[int, int]) -> None:
        """A straight line of ink from pixel to pixel, both ends included."""
        (x, y), (x2, y2) = start, end
        steps = max(abs(x2 - x), abs(y2 - y), 1)
        for step in range(steps + 1):
            self._dot(round(x + (x2 - x) * step / steps), round(y + (y2 - y) * step / steps))

    def _dot(self, x: int, y: int) -> None:
        if self.fits:
            self._ink[(y // 2) * self._across + x // 2] |= (1 if y % 2 else 4) << (x % 2)


def _between(points: Sequence[Point], t_s: float) -> float:
    """The value at this time on the straight line through one or two points, not beyond them."""
    (t0, v0), (t1, v1) = points[0], points[-1]
    share = (t_s - t0) / (t1 - t0) if t1 > t0 else 0.0
    return v0 + (v1 - v0) * min(1.0, max(0.0, share))


def mark_row(marks: Iterable[tuple[float, str]], axes: Axes, width: int) -> str:
    """The row of letters under a chart; a plus where several different ones fall on one place."""
    across = width - LABEL_CELLS
    cells = [" "] * max(0, across)
    for t_s, letter in marks:
        at = axes.across(t_s, across)
        if 0 <= at < across:
            cells[at] = letter if cells[at] in (" ", letter) else "+"
    return (" " * LABEL_CELLS + "".join(cells)).rstrip()
