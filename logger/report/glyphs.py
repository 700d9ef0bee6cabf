"""Which characters the fonts inside the PDF maker can show. Others are written as their code point.

Only these fonts are used, so that a report has the same bytes on every machine. PDF/A allows no character
without a shape.
"""

from __future__ import annotations

from bisect import bisect_right

_COVERED: tuple[tuple[int, int], ...] = (
    (0x20, 0x7E),
    (0xA0, 0xAC),
    (0xAE, 0x2FF),
    (0x384, 0x38A),
    (0x38C, 0x38C),
    (0x38E, 0x3A1),
    (0x3A3, 0x482),
    (0x48A, 0x4FF),
    (0x1E00, 0x1EFF),
    (0x2010, 0x2015),
    (0x2018, 0x2027),
    (0x2030, 0x205E),
    (0x2070, 0x2071),
    (0x2074, 0x208E),
    (0x20A0, 0x20BF),
    (0x2100, 0x214F),
    (0x2153, 0x2183),
    (0x2190, 0x23F3),
    (0x2460, 0x262F),
    (0x2701, 0x2704),
    (0x2713, 0x2727),
    (0x2798, 0x27AF),
)
"""Found by compiling each character with typst 0.15; a test does it again for all of them."""
_STARTS = [first for first, _ in _COVERED]


def covered(char: str) -> bool:
    """Whether the PDF can show it."""
    place = bisect_right(_STARTS, ord(char)) - 1
    return place >= 0 and ord(char) <= _COVERED[place][1]


def with_code_points(text: str) -> str:
    """The text with every other character as [U+XXXX]."""
    return "".join(char if covered(char) else f"[U+{ord(char):04X}]" for char in text)


def covered_characters() -> str:
    """All of them, for the test."""
    return "".join(chr(code) for first, last in _COVERED for code in range(first, last + 1))
