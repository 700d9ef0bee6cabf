"""The fields of a line around one of its numbers, as a profile writes them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from drivers.learn.heard import CannotTell, Line
from drivers.learn.movement import Movement, movement, stability_marks
from drivers.learn.number import (
    Cut,
    Mark,
    Trailing,
    cuts,
    number_fields,
    refuse_doubtful,
    signed_value,
    trailing_sign,
    trailings,
)
from drivers.learn.parts import Piece, last_pieces_of, pieces_of
from drivers.learn.tokens import foreign_unit, tokens_of, unit_named
from drivers.profile import (
    CounterField,
    IgnoredField,
    LineField,
    NumberField,
    OtherNumberField,
    SignField,
    StabilityField,
    TextField,
    UnitField,
    WordField,
)
from drivers.units import Unit

MOST_LINES: Final = 1500
"""The newest lines of a long session tell no more than these."""
LEAST_SHARE: Final = 0.9
"""A number that fewer lines carry is not the one that is sent."""


@dataclass(frozen=True, slots=True)
class Layout:
    """One way to read the lines. `values` are the numbers as decimal texts, in the order of `lines`."""

    mark: Mark
    index: int
    lines: tuple[Line, ...]
    values: tuple[str, ...]
    fields: tuple[LineField, ...]
    unit: Unit | None
    """What the line says; None when it names none."""
    unit_word: str
    """A word beside the number that is no unit known here; empty when there is none."""
    stable_told: bool
    label: str
    """What stands before the number, for a person."""


def numbers_at(lines: Sequence[Line], index: int, mark: Mark) -> list[Cut]:
    """The lines cut at one number. Raises CannotTell when too few carry it or it is doubtful."""
    found = cuts(lines, index, mark)
    with_numbers = sum(any(char.isdigit() for char in line.text) for line in lines)
    if len(found) < LEAST_SHARE * max(with_numbers, 1):
        raise CannotTell("only some of the lines carry this number")
    refuse_doubtful(found, mark)
    return found


def layouts(found: Sequence[Cut], index: int, mark: Mark) -> Iterator[Layout]:
    """Ways to read the lines at this number, the strictest first. Raises CannotTell when there is none."""
    reason = CannotTell("the lines change in a way that is not understood")
    for trailing in trailings(found):
        for padded in (list(found), _padded(found)):
            try:
                yield from _with_parts(padded, index, mark, trailing)
            except CannotTell as error:
                reason = error
    raise reason


def _padded(found: Sequence[Cut]) -> list[Cut]:
    """Where marks before the number may be blank: their blanks are taken out of the number's area."""
    longest = max(len(cut.left) for cut in found)
    padded: list[Cut] = []
    for cut in found:
        more = longest - len(cut.left)
        if cut.area[:more].strip(" ") or len(cut.area) < more:
            return []
        padded.append(Cut(cut.line, cut.left + " " * more, cut.area[more:], cut.digits, cut.right))
    return padded if longest > min(len(cut.left) for cut in found) else []


def _with_parts(found: list[Cut], index: int, mark: Mark, trailing: Trailing) -> Iterator[Layout]:
    if not found:
        return
    values = tuple(signed_value(cut, trailing) for cut in found)
    left = pieces_of([cut.left for cut in found])
    signs = [trailing_sign(cut, trailing) for cut in found] if trailing != "none" else []
    skip = 1 if trailing == "after-blank" else 0
    rests = [cut.right[skip + len(signs[i]) :] if signs else cut.right for i, cut in enumerate(found)]
    right = last_pieces_of(rests)
    behind: list[LineField] = [TextField(" ")] * skip
    if signs:
        behind.append(SignField(tuple(sorted(set(signs) - {"-"})), ("-",)))
    moved = _movement(found, values)
    unit, word, left, right = _units(left, right)
    below = [value.startswith("-") for value in values]
    before, told_left = _fields(left, moved, below, told=False)
    after, told = _fields(right, moved, below, told=told_left)
    for number in number_fields(found, mark):
        number = [_unsigned(item) for item in number] if signs else number
        fields = _joined([*before, *number, *behind, *after])
        yield Layout(
            mark, index, tuple(cut.line for cut in found), values, fields, unit, word, told, _label(left)
        )


def _unsigned(item: LineField) -> LineField:
    """The sign stands behind the number, in a field of its own."""
    return replace(item, signed=False) if isinstance(item, NumberField) else item


def _label(left: Sequence[Piece]) -> str:
    words = re.findall(r"[A-Za-z]+", "".join(piece.first for piece in left))
    return words[-1] if words else ""


def _movement(found: Sequence[Cut], values: Sequence[str]) -> Movement:
    digit = 10.0 ** -max(len(value.partition(".")[2]) for value in values)
    return movement([float(value) for value in values], [cut.line.at_s for cut in found], digit)


def _units(left: list[Piece], right: list[Piece]) -> tuple[Unit | None, str, list[Piece], list[Piece]]:
    """The unit beside the number: behind it, or the last word before it. None when the two disagree, or when the
    word behind may as well be the label of what follows."""
    behind, word, marked_right = _unit_in(right, exactly=False)
    ahead, word_ahead, turned = _unit_in(left[::-1], exactly=True)
    doubtful = behind is not None and unit_named(word, exactly=True) is None and _is_label(marked_right)
    if behind is not None and not doubtful and ahead in (None, behind):
        return behind, word, left, marked_right
    if behind is None and ahead is not None:
        return ahead, word_ahead, turned[::-1], right
    if behind is None:
        _refuse_foreign([word, *[w for piece in (*left, *right) for w in _words(piece)]])
    return None, word, left, right


def _is_label(right: Sequence[Piece]) -> bool:
    """Whether another number follows the word that was taken for a unit."""
    at = next((i for i, piece in enumerate(right) if piece.kind == "unit"), len(right))
    return any(piece.kind in ("other", "count", "ignored") for piece in right[at + 1 :])


def _unit_in(pieces: list[Piece], *, exactly: bool) -> tuple[Unit | None, str, list[Piece]]:
    """The first word of the pieces if it is a unit, and the pieces with it marked as one."""
    for i, piece in enumerate(pieces):
        if piece.kind in ("other", "count", "ignored"):
            break
        words = _words(piece)
        named = next((w for w in words if unit_named(w, exactly=exactly) is not None), None)
        if named is not None:
            marked = Piece("unit", piece.texts) if piece.kind == "const" else piece
            return unit_named(named), named, [*pieces[:i], marked, *pieces[i + 1 :]]
        if words:
            return None, words[0] if piece.kind == "const" else "", pieces
    return None, "", pieces


def _refuse_foreign(words: Sequence[str]) -> None:
    for word in words:
        if foreign_unit(word):
            raise CannotTell(
                f"it sends {word}, which is never converted; set the instrument to g, mg, kg, Pa, hPa, kPa or mbar"
            )


def _words(piece: Piece) -> list[str]:
    return [
        token.text for text in dict.fromkeys(piece.texts) for token in tokens_of(text) if token.kind == "word"
    ]


def _fields(
    pieces: Sequence[Piece], moved: Movement, below: Sequence[bool], told: bool
) -> tuple[list[LineField], bool]:
    """The pieces as fields; `told` says whether a stability mark was found before."""
    fields: list[LineField] = []
    for piece in pieces:
        if piece.kind == "const":
            fields.append(TextField(piece.first))
        elif piece.kind == "unit":
            named = unit_named(piece.first)
            assert named is not None
            fields.append(UnitField({piece.first: named}))
        elif piece.kind == "count":
            fields.append(CounterField(piece.width if len(set(map(len, piece.texts))) == 1 else None))
        elif piece.kind == "other":
            fields.append(OtherNumberField())
        elif piece.kind == "ignored":
            fields.append(IgnoredField(piece.width))
        else:
            marks = None if told else stability_marks(piece.texts, moved, below)
            told = told or marks is not None
            fields.append(_mark_field(piece) if marks is None else StabilityField(*map(tuple, marks)))
    return fields, told


def _mark_field(piece: Piece) -> LineField:
    """A place that is no stability mark: another number, or words without meaning here."""
    digits = all(text.isdigit() for text in piece.texts)
    return OtherNumberField() if digits else WordField(tuple(sorted(set(piece.texts))))


def _joined(fields: Sequence[LineField]) -> tuple[LineField, ...]:
    """Neighbouring texts become one; a second counter is only another number."""
    joined: list[LineField] = []
    for item in fields:
        if isinstance(item, CounterField) and any(isinstance(other, CounterField) for other in joined):
            item = OtherNumberField()
        before = joined[-1] if joined else None
        if isinstance(item, TextField) and isinstance(before, TextField):
            joined[-1] = TextField(before.text + item.text)
        elif isinstance(item, IgnoredField) and isinstance(before, IgnoredField):
            joined[-1] = IgnoredField(before.width + item.width)
        else:
            joined.append(item)
    return tuple(joined)
