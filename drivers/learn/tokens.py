"""Pieces of a line: clocks, numbers, words, single characters. Lines of one layout have pieces of one shape."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from drivers.units import FOREIGN_UNITS, Unit

Kind = Literal["clock", "number", "word", "mixed", "char"]

_UNITS_WITH_DIGITS: Final = "|".join(
    re.escape(unit) for unit in FOREIGN_UNITS if any(char.isdigit() for char in unit)
)
_CLOCK: Final = (
    r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d)?"
    r"|\d{1,4}(?:-\d{1,2}-|\.\d{1,2}\.|/\d{1,2}/|:\d{1,2}:)\d{1,4}(?![.\d])"
    r"|\d{1,2}:\d{2}(?!\d)"
)
_CLOCKS: Final = re.compile(rf"(?<![\d.,])(?:{_CLOCK})", re.ASCII)
_TOKEN: Final = re.compile(
    rf"(?P<word>(?:{_UNITS_WITH_DIGITS})(?![A-Za-z0-9]))"
    rf"|(?P<clock>{_CLOCK})"
    r"|(?P<lead>[A-Za-z]+(?=\d+[.,:]\d))"
    rf"|(?P<number> *[-+]? *(?!{_CLOCK})(?:\d+[.,](?!{_CLOCK})\d+|\d+(?![A-Za-z0-9])))"
    r"|(?P<mixed>[A-Za-z0-9]+)"
    r"|(?P<char>[\s\S])",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Token:
    """One piece with its place in the line."""

    kind: Kind
    text: str
    start: int

    @property
    def end(self) -> int:
        """Where the next piece begins."""
        return self.start + len(self.text)


@lru_cache(maxsize=4096)
def tokens_of(text: str) -> tuple[Token, ...]:
    """The pieces of `text`; joined they are `text`."""
    found: list[Token] = []
    for match in _TOKEN.finditer(text):
        kind: Kind = "char"
        if match["word"] or match["lead"] or match.group().isalpha():
            kind = "word"
        elif match["clock"]:
            kind = "clock"
        elif match["number"]:
            kind = "number"
        elif match["mixed"]:
            kind = "mixed"
        found.append(Token(kind, match.group(), match.start()))
    return tuple(found)


def without_clocks(text: str) -> str:
    """The text with dates and times blotted out, every character in its place."""
    return _CLOCKS.sub(lambda match: "\0" * len(match.group()), text)


_UNIT_NAMES: Final = {unit.value.casefold(): unit for unit in Unit}


def unit_named(word: str, *, exactly: bool = False) -> Unit | None:
    """The unit that a word of the line means; with `exactly` in its usual letters only."""
    unit = _UNIT_NAMES.get(word.casefold())
    return unit if unit is not None and (not exactly or unit.value == word) else None


def foreign_unit(word: str) -> bool:
    """Whether the word is a unit that is never converted. Single letters are too often something else."""
    return len(word) > 1 and word.casefold() in {unit.casefold() for unit in FOREIGN_UNITS}


def same_shape(texts: Sequence[str]) -> list[tuple[Token, ...]] | None:
    """The pieces of each text when they agree in number and kind, else None."""
    rows = [tokens_of(text) for text in texts]
    kinds = {tuple(token.kind for token in row) for row in rows}
    return rows if len(kinds) == 1 else None
