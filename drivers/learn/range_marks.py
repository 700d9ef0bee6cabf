"""Lines without the number: marks of an overload or underload, when the load just before says which."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from drivers.learn.heard import Line
from drivers.learn.layouts import Layout
from drivers.learn.tokens import tokens_of
from drivers.line_grammar import LineGrammar
from drivers.profile import LineProfile
from drivers.reading import Quality

LONGEST_MARK: Final = 32
MOST_KINDS: Final = 20
"""More kinds of lines without the number than this are no marks."""


@dataclass(frozen=True, slots=True)
class RangeMarks:
    """`unexplained` are the lines (each as often as it came) that the profile will not read."""

    overload: tuple[str, ...]
    underload: tuple[str, ...]
    unexplained: tuple[str, ...]


def range_marks(layout: Layout, lines: Sequence[Line], bare: LineProfile) -> RangeMarks:
    """Looks at every line that does not carry the number; `bare` is the profile without marks."""
    known: dict[str, str | None] = {}
    read = {line.text for line in layout.lines}
    over: list[str] = []
    under: list[str] = []
    unexplained: list[str] = []
    values = [float(value) for value in layout.values]
    top = max(abs(value) for value in values)
    last, position = 0.0, 0
    for line in lines:
        if position < len(layout.lines) and line is layout.lines[position]:
            last, position = values[position], position + 1
            continue
        if len(known) > MOST_KINDS:
            unexplained.append(line.text)
            continue
        mark = known[line.text] if line.text in known else known.setdefault(line.text, _mark(bare, line.text))
        if line.text in read or mark is None or abs(last) < 0.5 * top:
            unexplained.append(line.text)
        else:
            (over if last > 0 else under).append(mark)
    both = set(over) & set(under)
    over_marks, under_marks = (tuple(sorted(set(m) - both)) for m in (over, under))
    return RangeMarks(over_marks, under_marks, tuple(unexplained) + tuple(both))


def _mark(bare: LineProfile, text: str) -> str | None:
    """The text that stands in the place of the number, else the whole line; None when it can be no mark."""
    tokens = tokens_of(text)
    pieces = {
        text[tokens[i].start : tokens[j].end].strip(" ")
        for i in range(len(tokens))
        for j in range(i, min(i + LONGEST_MARK, len(tokens)))
    }
    for mark in sorted(filter(_may_be_mark, pieces - {text.strip(" ")}), key=len, reverse=True):
        parsed = LineGrammar(replace(bare, overload=(mark,))).parse(text)
        if parsed is not None and parsed.quality is Quality.OVERLOAD:
            return mark
    whole = text.strip(" ")
    return whole if _may_be_mark(whole) else None


def _may_be_mark(text: str) -> bool:
    plain = 0 < len(text) <= LONGEST_MARK and text.isascii() and text.isprintable()
    return plain and not any(char.isdigit() for char in text)
