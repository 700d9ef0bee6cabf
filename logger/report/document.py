"""What a report says, apart from how it is printed: sections of few kinds of blocks, all plain text.

HTML and PDF print the same document, so they say the same. Texts are shown as they are, never read as markup.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal

Paper = Literal["a4", "letter"]
Level = Literal["plain", "good", "warning", "alarm"]


_UNIT = re.compile(r"(?<=\d) (?=(?:%|°C|g|s|min|mm|µm|Pa|kPa)(?!\w))")


_TIME = re.compile(r"(?<=\d-\d\d) (?=\d\d:\d\d)|(?<=:\d\d) (?=UTC\b)")


def unbroken(text: str) -> str:
    """The text with no line end between a figure and its unit, nor inside a time."""
    return _TIME.sub("\u00a0", _UNIT.sub("\u00a0", text))


@dataclass(frozen=True, slots=True)
class Banner:
    """A sentence across the page that must not be overlooked: simulated, unreviewed, no result."""

    text: str
    detail: str = ""
    level: Level = "warning"


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and values, one below the other."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """A figure that readers look for first."""

    label: str
    value: str
    detail: str = ""
    level: Level = "plain"


@dataclass(frozen=True, slots=True)
class KeyFigures:
    """A few of them in a row."""

    figures: tuple[KeyFigure, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """Head of a column; figures stand on the right."""

    text: str
    align: Literal["left", "right"] = "left"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under a head. `wide` is the column that takes the room left; `foot` are the last rows, set apart.

    With `halves` a long table of short rows may stand in two halves beside each other on paper.
    """

    caption: str
    head: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    wide: int = 0
    foot: tuple[tuple[str, ...], ...] = ()
    halves: bool = False

    def __post_init__(self) -> None:
        for row in (*self.rows, *self.foot):
            if len(row) != len(self.head):
                raise ValueError(f"{self.caption}: a row of {len(row)} under {len(self.head)} columns")


@dataclass(frozen=True, slots=True)
class Lines:
    """Sentences. As `list` each has a mark in front; `small` is for what is rarely read."""

    lines: tuple[str, ...]
    style: Literal["plain", "list", "small"] = "plain"


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing (SVG text with a `viewBox`), its short name, and what it shows for one who cannot see it.

    A tall one is `narrow`, so that the page has room for its tables.
    """

    svg: str
    title: str
    alternative: str
    caption: str = ""
    narrow: bool = False


Block = Facts | KeyFigures | Table | Lines | Figure


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its blocks. Two neighbours with `half` stand side by side where there is room."""

    title: str
    blocks: tuple[Block, ...]
    half: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A whole report. `code` stands on every page; `dated` is UTC as in records and becomes the file's date."""

    language: str
    title: str
    subtitle: str
    code: str
    code_label: str
    dated: str
    page_text: str
    """For the foot of a page, with {page} and {pages}."""
    sections: tuple[Section, ...]
    banners: tuple[Banner, ...] = ()
    foot: str = ""
    missing_letter_text: str = ""
    """Said where a letter could not be shown and stands as its code point."""
    author: str = field(default="Lastgrain")
