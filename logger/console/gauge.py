"""Gauges drawn in characters: where a value is against its band, and how much of a time is done."""

from __future__ import annotations


def band_gauge(value: float | None, low: float, high: float, width: int) -> str:
    """A line of `width` cells with the band double-ruled in the middle third and the value as a block.

    The line reaches one and a half band widths beyond each edge, not below zero; a value beyond it is
    an arrow at the end.
    """
    if width < 9 or not high - low > 1e-6:
        return ""
    start = max(0.0, low - (high - low) * 1.2)
    end = high + (high - low) * 1.2

    def cell(at: float) -> int:
        share = min(1.0, max(0.0, (at - start) / (end - start)))
        return round(share * (width - 1))

    line = ["─"] * width
    first, last = cell(low), cell(high)
    line[first : last + 1] = ["╠", *"═" * (last - first - 1), "╣"] if last > first else ["╬"]
    if value is not None:
        line[cell(value)] = "◀" if value < start else "▶" if value > end else "█"
    return "".join(line)


EIGHTHS = " ▏▎▍▌▋▊▉"


def progress_bar(done: float, target: float, width: int) -> str:
    """A bar of `width` cells, filled to an eighth of a cell; full when the target is reached."""
    if width < 3 or not target > 0:
        return ""
    filled = round(min(1.0, max(0.0, done / target)) * width * 8)
    whole, rest = divmod(filled, 8)
    bar = "█" * whole + (EIGHTHS[rest] if rest else "")
    return bar.ljust(width, "░")
