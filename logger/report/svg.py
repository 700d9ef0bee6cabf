"""Small pieces of SVG: numbers, lines, texts, axes. The same input gives the same bytes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

INK, GRID, SOFT = "#1a1a1a", "#d4d4d4", "#555555"
BLUE, ORANGE, GREEN, RED = "#00558c", "#b35900", "#00694a", "#a3002a"
FONT = "Libertinus Serif, Georgia, serif"


def number(value: float) -> str:
    """A coordinate, to a tenth of a unit."""
    text = f"{value:.1f}"
    return "0.0" if text == "-0.0" else text


def line(x1: float, y1: float, x2: float, y2: float, stroke: str = GRID, more: str = "") -> str:
    """One straight line."""
    places = f'x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}"'
    return f'<line {places} stroke="{stroke}"{_after(more)}/>'


def text(x: float, y: float, words: str, anchor: str = "start", more: str = "") -> str:
    """Text at a place; `anchor` start, middle or end."""
    return (
        f'<text x="{number(x)}" y="{number(y)}" text-anchor="{anchor}"{_after(more)}>{escape(words)}</text>'
    )


def upright(x: float, y: float, words: str) -> str:
    """Text that reads upwards, its middle at a place."""
    turned = f'transform="translate({number(x)} {number(y)}) rotate(-90)"'
    return f'<text {turned} text-anchor="middle">{escape(words)}</text>'


def path(points: Iterable[tuple[float, float]], stroke: str, more: str = "") -> str:
    """A line through points."""
    places = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return f'<polyline points="{places}" fill="none" stroke="{stroke}"{_after(more)}/>'


def box(x: float, y: float, width: float, height: float, fill: str, more: str = "") -> str:
    """A filled rectangle."""
    size = f'width="{number(max(0.0, width))}" height="{number(max(0.0, height))}"'
    return f'<rect x="{number(x)}" y="{number(y)}" {size} fill="{fill}"{_after(more)}/>'


def drawing(width: float, height: float, parts: Sequence[str]) -> str:
    """The whole drawing. Its name and description are put in where it is shown."""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" font-family={quoteattr(FONT)} '
        f'font-size="11" fill="{INK}">'
    )
    return "\n".join([head, *parts, "</svg>"])


def _after(more: str) -> str:
    return f" {more}" if more else ""


@dataclass(frozen=True, slots=True)
class Axis:
    """Maps values to places from `start` (of `low`) to `end` (of `high`), evenly or by their logarithms."""

    low: float
    high: float
    start: float
    end: float
    log: bool = False

    def __call__(self, value: float) -> float:
        """The place; what lies outside stands at the edge."""
        low, high, here = (self._scaled(v) for v in (self.low, self.high, value))
        share = 0.0 if high == low else (here - low) / (high - low)
        return self.start + min(1.0, max(0.0, share)) * (self.end - self.start)

    def _scaled(self, value: float) -> float:
        return math.log(max(value, 1e-12)) if self.log else value

    def ticks(self, most: int = 6) -> list[float]:
        """Round values inside."""
        return log_ticks(self.low, self.high, most) if self.log else even_ticks(self.low, self.high, most)


def even_ticks(low: float, high: float, most: int) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten, at most `most` steps."""
    if not high > low:
        return [low]
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [round(i * step, 10) for i in range(first, math.floor(high / step + 1e-9) + 1)]


def log_ticks(low: float, high: float, most: int = 6) -> list[float]:
    """1, 2 and 5 of each decade where they fit, else 1 and 3, else 1 alone."""
    decades = range(math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 1)
    found: list[float] = []
    for digits in ((1, 2, 5), (1, 3), (1,)):
        found = [d * 10.0**k for k in decades for d in digits if low * 0.999 <= d * 10.0**k <= high * 1.001]
        if len(found) <= most:
            break
    return [float(f"{tick:.6g}") for tick in found]


def time_ticks(high_s: float, most: int = 10) -> list[float]:
    """Whole minutes, or seconds in short runs, a handful of them."""
    steps = (5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200)
    step = next((each for each in steps if high_s / each <= most), 14400)
    return [float(step * i) for i in range(int(high_s // step) + 1)]
