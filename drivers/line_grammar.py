"""A profile's fields turned into a strict parser of one line; never raises on what an instrument sends."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from drivers.profile import (
    CounterField,
    IgnoredField,
    LineField,
    LineProfile,
    NumberField,
    OtherNumberField,
    SignField,
    SpacesField,
    StabilityField,
    Suction,
    TextField,
    UnitField,
    WordField,
)
from drivers.reading import Quality
from drivers.units import FOREIGN_UNITS, Unit, resolution_in_base, to_base

MOST_DIGITS: Final = 15
"""Digits on either side of the decimal mark; a float holds 15 without loss, no instrument sends more."""

_OTHER_NUMBER: Final = f" *[-+]? *[0-9]{{1,{MOST_DIGITS}}}(?:[.,][0-9]{{1,{MOST_DIGITS}}})?"


@dataclass(slots=True)
class ParsedLine:
    """What a line of the profile's grammar says. `unit` is None for a unit that is never converted."""

    quality: Quality
    value: float | None
    stable: bool | None
    resolution: float | None
    unit: Unit | None
    unit_text: str
    counter: int | None


class LineGrammar:
    """Parses whole lines, terminator taken off, of one profile."""

    def __init__(self, profile: LineProfile) -> None:
        """Raises ValueError when the profile does not have exactly one number."""
        number, *more = [item for item in profile.fields if isinstance(item, NumberField)]
        if more:
            raise ValueError(f"profile {profile.name}: a line carries one number, not {1 + len(more)}")
        self._unit = profile.unit
        self._comma = number.decimal == "comma"
        self._flip = profile.suction is Suction.NEGATIVE
        self._number = re.compile(_number_pattern(number), re.ASCII)
        self._marks = dict.fromkeys(profile.overload, Quality.OVERLOAD) | dict.fromkeys(
            profile.underload, Quality.UNDERLOAD
        )
        self._line = re.compile(_line_pattern(profile, list(self._marks)), re.ASCII)
        self._negative = _negative_marks(profile.fields)
        self._stable = _stability_marks(profile.fields)
        self._units = _unit_texts(profile.fields)
        self._low = _bound(profile.minimum, profile.unit, -float("inf"))
        self._high = _bound(profile.maximum, profile.unit, float("inf"))
        self._steps = [resolution_in_base(decimals, profile.unit) for decimals in range(MOST_DIGITS + 1)]

    def parse(self, line: str) -> ParsedLine | None:
        """What the line says; None when it is not a line of this profile or its number is out of range."""
        match = self._line.fullmatch(line)
        if match is None:
            whole = self._marks.get(line.strip(" "))
            return None if whole is None else ParsedLine(whole, None, None, None, self._unit, "", None)
        found = match.groupdict()
        unit_text = found.get("unit")
        unit = self._unit if unit_text is None else self._units.get(unit_text)
        counter = found.get("counter")
        parsed = ParsedLine(
            Quality.OK,
            None,
            self._stable.get(found.get("stability", "?")),
            None,
            unit,
            (unit_text or "").strip(" "),
            None if counter is None else int(counter),
        )
        return self._with_number(parsed, found)

    def _with_number(self, parsed: ParsedLine, found: dict[str, str]) -> ParsedLine | None:
        slot = found["number"]
        number = None if slot is None else self._number.fullmatch(slot)
        if number is None:
            mark = self._marks.get((found.get("mark") or slot or "").strip(" "))
            if mark is None:
                return None
            parsed.quality = mark
            return parsed
        if parsed.unit is not self._unit:
            parsed.quality = Quality.WRONG_UNIT
            return parsed
        sign, whole, decimals = number.groups("")
        negative = sign == "-" or found.get("sign") in self._negative
        magnitude = to_base(f"{whole}.{decimals}", self._unit)
        value = (-magnitude if negative is not self._flip else magnitude) + 0.0  # + 0.0: no minus zero
        if not self._low <= value <= self._high:
            return None
        parsed.value = value
        parsed.resolution = self._steps[len(decimals)]
        return parsed


def _bound(limit: float | None, unit: Unit, otherwise: float) -> float:
    return otherwise if limit is None else float(Decimal(repr(limit)).scaleb(unit.exponent))


def _any_of(texts: Iterable[str]) -> str:
    return "|".join(re.escape(text) for text in sorted(texts, key=len, reverse=True))


def _number_pattern(number: NumberField) -> str:
    mark = "," if number.decimal == "comma" else r"\."
    fill = " *" if number.width is not None and number.fill == "space" else ""
    sign = "([-+]?)" if number.signed else "()"
    digits = f"[0-9]{{1,{MOST_DIGITS}}}"
    return f"{fill}{sign}({digits})(?:{mark}({digits}))?"


def _slot_pattern(number: NumberField, marks: list[str]) -> str:
    """With a width any printable characters, looked at afterwards; without one the number itself."""
    if number.width is not None:
        return f"(?P<number>[ -~]{{{number.width}}})"
    bare = _number_pattern(number).replace("(?:", "\0").replace("(", "(?:").replace("\0", "(?:")
    return f"(?P<number>{'|'.join([bare, _any_of(marks)] if marks else [bare])})"


def _line_pattern(profile: LineProfile, marks: list[str]) -> str:
    fields = profile.fields
    pieces = [_piece(item, marks) for item in fields]
    at_number = next(i for i, item in enumerate(fields) if isinstance(item, NumberField))
    at_sign = next((i for i, item in enumerate(fields) if isinstance(item, SignField)), at_number)
    if marks and at_sign < at_number:
        signed = "".join(pieces[at_sign : at_number + 1])
        pieces[at_sign : at_number + 1] = [f"(?:{signed}|(?P<mark>{_any_of(marks)}))"]
    return "".join(pieces)


def _piece(item: LineField, marks: list[str]) -> str:
    match item:
        case TextField(text):
            return re.escape(text)
        case SpacesField(at_least, at_most):
            return f" {{{at_least},{at_most}}}"
        case StabilityField(stable, unstable):
            return f"(?P<stability>{_any_of((*stable, *unstable))})"
        case SignField(positive, negative):
            return f"(?P<sign>{_any_of((*positive, *negative))})"
        case NumberField():
            return _slot_pattern(item, marks)
        case UnitField():
            return f"(?P<unit>{_any_of(_padded_units(item))})"
        case CounterField(width):
            return f"(?P<counter>[0-9]{{{width or f'1,{MOST_DIGITS}'}}})"
        case IgnoredField(width):
            return f"[ -~]{{{width}}}"
        case WordField(texts):
            return f"(?:{_any_of(texts)})"
        case OtherNumberField():
            return _OTHER_NUMBER


def _padded_units(item: UnitField) -> dict[str, Unit | None]:
    width = item.width or 0
    foreign: dict[str, Unit | None] = dict.fromkeys(FOREIGN_UNITS)
    texts = foreign | {unit.value: unit for unit in Unit} | dict(item.texts)
    return {text.ljust(width): unit for text, unit in texts.items() if not width or len(text) <= width}


def _unit_texts(fields: tuple[LineField, ...]) -> dict[str, Unit | None]:
    return next((_padded_units(item) for item in fields if isinstance(item, UnitField)), {})


def _negative_marks(fields: tuple[LineField, ...]) -> frozenset[str]:
    return frozenset(text for item in fields if isinstance(item, SignField) for text in item.negative)


def _stability_marks(fields: tuple[LineField, ...]) -> dict[str, bool]:
    item = next((item for item in fields if isinstance(item, StabilityField)), None)
    if item is None:
        return {}
    return dict.fromkeys(item.unstable, False) | dict.fromkeys(item.stable, True)
