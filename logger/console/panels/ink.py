"""Pieces of styled text. Nothing here is ever read as markup."""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content

from logger.console.literal import cells, wrap

BLUE = "#56B4E9"
ORANGE = "#E69F00"
"""The two colours, from the Okabe-Ito palette that colour-blind people can tell apart on a dark ground."""
DIM = "#9aa4ad"
STRONG = "bold"
GOOD = f"bold {BLUE}"
BAD = f"bold {ORANGE}"
SHOUT = f"bold reverse {ORANGE}"
TITLE = f"bold {BLUE}"

Piece = str | tuple[str, str]
"""Text, or text with its style."""


def line(*pieces: Piece) -> Content:
    """One line of pieces."""
    return Content.assemble(*(each for each in pieces if each))


def page(lines: Iterable[Content]) -> Content:
    """Lines put under each other."""
    return Content("\n").join(lines)


def paragraph(text: str, width: int, style: str = "") -> list[Content]:
    """Wrapped text in one style."""
    return [Content.styled(each, style) for each in wrap(text, width)]


def first_rows(lines: list[Content], rows: int, width: int) -> list[Content]:
    """At most so many lines; an ellipsis says that there are more."""
    if len(lines) <= rows:
        return lines
    kept = lines[: max(0, rows)]
    if kept:
        kept[-1] = (kept[-1] + " …").truncate(width, ellipsis=True)
    return kept


def flow(parts: Iterable[str], width: int, separator: str = " · ") -> list[str]:
    """Parts side by side, on as many lines as they need; a part is split only when alone too wide."""
    lines: list[str] = []
    for part in parts:
        joined = f"{lines[-1]}{separator}{part}" if lines else part
        if lines and cells(joined) <= width:
            lines[-1] = joined
        else:
            lines += wrap(part, width)
    return lines
