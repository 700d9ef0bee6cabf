"""Lines without the number: marks of an overload or underload, when the load just before says which."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.learn.heard import Line
from drivers.learn.layouts import Layout
from drivers.profile import SignField


@dataclass(frozen=True, slots=True)
class RangeMarks:
    """`unexplained` are the lines (each as often as it came) that the profile will not read."""

    overload: tuple[str, ...]
    underload: tuple[str, ...]
    unexplained: tuple[str, ...]


def range_marks(layout: Layout, lines: Sequence[Line]) -> RangeMarks:
    """Looks at every line that does not carry the number."""
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
        mark = _mark(layout, line.text)
        if line.text in read or mark is None or abs(last) < 0.5 * top:
            unexplained.append(line.text)
        else:
            (over if last > 0 else under).append(mark)
    both = set(over) & set(under)
    over_marks, under_marks = (tuple(sorted(set(m) - both)) for m in (over, under))
    return RangeMarks(over_marks, under_marks, tuple(unexplained) + tuple(both))


def _mark(layout: Layout, text: str) -> str | None:
    """The text that stands where the number does: between what the lines share, or the whole line."""
    first = layout.lines[0].text
    head, tail = _shared([line.text for line in layout.lines])
    inner = text
    if (
        len(text) >= head + tail
        and text[:head] == first[:head]
        and text[len(text) - tail :] == first[len(first) - tail :]
    ):
        inner = text[head : len(text) - tail]
    signs = {s for f in layout.fields if isinstance(f, SignField) for s in (*f.positive, *f.negative)}
    mark = inner.strip(" ")
    if mark[:1] in signs and mark[:1] in ("+", "-") and len(set(mark)) > 1:
        mark = mark[1:].strip(" ")
    plain = 0 < len(mark) <= 32 and mark.isascii() and mark.isprintable()
    return mark if plain and not re.search(r"\d", mark) else None


def _shared(texts: Sequence[str]) -> tuple[int, int]:
    """How many characters all lines share at the start and at the end."""
    low, high = min(texts), max(texts)
    head = next(
        (i for i, (a, b) in enumerate(zip(low, high, strict=False)) if a != b), min(len(low), len(high))
    )
    turned = [text[::-1] for text in texts]
    low, high = min(turned), max(turned)
    tail = next(
        (i for i, (a, b) in enumerate(zip(low, high, strict=False)) if a != b), min(len(low), len(high))
    )
    return head, tail
