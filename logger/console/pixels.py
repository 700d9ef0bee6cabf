"""Bitmaps (rows of text, `#` is ink) packed into block characters: two or four pixels a cell."""

from __future__ import annotations

from collections.abc import Sequence

HALVES = " ▀▄█"
QUADRANTS = " ▘▝▀▖▌▞▛▗▚▐▜▄▙▟█"
"""Indexed by 1 upper left + 2 upper right + 4 lower left + 8 lower right."""


def pack_halves(bitmap: Sequence[str]) -> list[str]:
    """One pixel across, two down in a cell: square pixels, wide letters."""
    width = max(map(len, bitmap), default=0)
    rows = _even_rows(bitmap, width)
    return [
        "".join(
            HALVES[(up == "#") + 2 * (down == "#")] for up, down in zip(upper, lower, strict=True)
        ).rstrip()
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    ]


def pack_quadrants(bitmap: Sequence[str]) -> list[str]:
    """Two pixels across, two down in a cell: narrow letters, fine curves."""
    width = max(map(len, bitmap), default=0)
    width += width % 2
    rows = _even_rows(bitmap, width)
    return [
        "".join(_quadrant(upper, lower, x) for x in range(0, width, 2)).rstrip()
        for upper, lower in zip(rows[::2], rows[1::2], strict=True)
    ]


def _quadrant(upper: str, lower: str, x: int) -> str:
    ink = (upper[x], upper[x + 1], lower[x], lower[x + 1])
    return QUADRANTS[sum(1 << bit for bit, pixel in enumerate(ink) if pixel == "#")]


def _even_rows(bitmap: Sequence[str], width: int) -> list[str]:
    rows = [row.ljust(width, ".") for row in bitmap]
    return rows if len(rows) % 2 == 0 else [*rows, "." * width]
