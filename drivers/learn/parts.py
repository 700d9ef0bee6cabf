"""The part of a line before the number, or after it: which characters never change, and what the others are."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from drivers.learn.heard import CannotTell
from drivers.learn.tokens import Token, same_shape, tokens_of

MOST_MARKS: Final = 4
"""A place with more different texts than this is no mark."""

_OTHER: Final = re.compile(r" *[-+]? *\d{1,15}([.,]\d{1,15})?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Piece:
    """One place: `texts` holds what stands there in each line, in the order of the lines.

    `const` never changes, `marks` is one of a few texts, `other` is a number that is not read, `count` counts
    the lines, `ignored` has a fixed width and no meaning, `unit` is the unit's name.
    """

    kind: Literal["const", "marks", "other", "count", "ignored", "unit"]
    texts: tuple[str, ...]

    @property
    def first(self) -> str:
        """The text of the first line, which is every line's for `const`."""
        return self.texts[0]

    @property
    def width(self) -> int:
        """Its fixed width."""
        return len(self.first)


def pieces_of(texts: Sequence[str]) -> list[Piece]:
    """The places of a part. Raises CannotTell for a place that changes in a way not understood."""
    if len(set(texts)) == 1:
        return [piece for column in _columns(texts) for piece in _place(column)]
    rows = same_shape(texts)
    if rows is not None:
        columns = [[row[i].text for row in rows] for i in range(len(rows[0]))]
        return [piece for column in columns for piece in _place(column)]
    return _unlike(texts)


def last_pieces_of(texts: Sequence[str]) -> list[Piece]:
    """As `pieces_of`, for the part that ends the line: a checksum may stand there."""
    for width in (2, 4):
        tails = tuple(text[-width:] for text in texts)
        if _are_sums(tails) and all(not text[:-width][-1:].isalnum() for text in texts):
            return [*pieces_of([text[:-width] for text in texts]), Piece("ignored", tails)]
    return pieces_of(texts)


def _are_sums(tails: Sequence[str]) -> bool:
    """Hexadecimal digits that change all the time, letters among them."""
    text = "".join(tails)
    return (
        re.fullmatch(r"[0-9A-F]+", text) is not None
        and len({len(tail) for tail in tails}) == 1
        and len(set(tails)) > MOST_MARKS
        and not text.isdigit()
        and not text.isalpha()
    )


def _columns(texts: Sequence[str]) -> list[list[str]]:
    return [[token.text] * len(texts) for token in tokens_of(texts[0])]


def _place(column: Sequence[str]) -> Iterator[Piece]:
    """One column of pieces of one kind."""
    texts = tuple(column)
    token = tokens_of(texts[0])[0]
    widths = {len(text) for text in texts}
    if token.kind == "clock":
        if len(widths) > 1:
            raise CannotTell("a date or time in the line changes its length")
        yield Piece("ignored", texts)
    elif token.kind == "number" and (len(set(texts)) > 1 or re.search(r"\d[.,]\d", texts[0])):
        yield from _number(texts)
    elif len(set(texts)) == 1:
        yield Piece("const", texts)
    else:
        yield _varying(texts)


def _number(texts: tuple[str, ...]) -> Iterator[Piece]:
    """A number that is not the one read: a counter, a clock, a tare. Blanks and a sign before it are its own."""
    bare = tuple(text.lstrip(" ") for text in texts)
    lead = {len(text) - len(b) for text, b in zip(texts, bare, strict=True)}
    zeros = any(len(text) > 1 and text[0] == "0" and text.isdigit() for text in bare)
    kind: Literal["other", "count", "ignored", "marks"] = "other"
    if len(lead) == 1 and _counts(bare):
        kind = "count"
    elif len(lead) == 1 and zeros and len({len(text) for text in bare}) == 1:
        kind = "ignored"
    elif len(lead) == 1 and len(set(bare)) == 2 and all(len(text) == 1 for text in bare):
        kind = "marks"
    blanks = min(lead) if kind != "other" else min(1, *lead)
    if blanks:
        yield Piece("const", tuple(" " * blanks for _ in texts))
    yield Piece(kind, tuple(text[blanks:] for text in texts))


def _counts(texts: Sequence[str]) -> bool:
    """Whether it goes up by one from line to line. A clock of seconds would do so for a while: 100 or more proves it."""
    if not all(text.isdigit() for text in texts) or max(map(int, texts)) < 100 or len(texts) < 10:
        return False
    steps = [int(b) - int(a) for a, b in itertools.pairwise(texts)]
    return sum(step == 1 for step in steps) >= 0.95 * len(steps)


def _varying(texts: tuple[str, ...]) -> Piece:
    different = set(texts)
    if len(different) <= MOST_MARKS and not any(char.isdigit() for text in different for char in text):
        return Piece("marks", texts)
    if len({len(text) for text in texts}) == 1 and all(text.isprintable() for text in different):
        if len(different) > MOST_MARKS:
            return Piece("ignored", texts)
        raise CannotTell(f"too little was heard to say what {sorted(different)!r} means")
    raise CannotTell(f"a place of the line changes its length without a meaning: {sorted(different)[:6]!r}")


def _unlike(texts: Sequence[str]) -> list[Piece]:
    """Lines of unlike shape: what they share at both ends, and one place between that differs."""
    rows = [tokens_of(text) for text in texts]
    left = _shared(rows)
    right = _shared([row[left:][::-1] for row in rows])
    middles = ["".join(t.text for t in row[left : len(row) - right]) for row in rows]
    head = [[row[i].text for row in rows] for i in range(left)]
    tail = [[row[len(row) - right + i].text for row in rows] for i in range(right)]
    pieces = [piece for column in head for piece in _place(column)]
    pieces += _middle(tuple(middles))
    return pieces + [piece for column in tail for piece in _place(column)]


def _shared(rows: Sequence[Sequence[Token]]) -> int:
    """How many pieces from the start agree in kind; characters must agree themselves or be a mark."""
    count = 0
    for column in zip(*rows, strict=False):
        kinds = {token.kind for token in column}
        texts = {token.text for token in column}
        if (
            len(kinds) > 1
            or (kinds == {"char"} and len(texts) > 1)
            or (kinds == {"mixed"} and len(texts) > 1)
        ):
            break
        if kinds == {"word"} and len(texts) > MOST_MARKS:
            break
        count += 1
    return count


def _middle(middles: tuple[str, ...]) -> list[Piece]:
    if all(_OTHER.fullmatch(middle) for middle in middles):
        return [Piece("other", middles)]
    return [_varying(middles)]
