"""A profile as the text of its file."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

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
    TextField,
    UnitField,
    WordField,
)
from drivers.units import Quantity


def profile_text(profile: LineProfile, remarks: Sequence[str] = ()) -> str:
    """The file's text: `drivers.profile_file` reads the same profile from it. Remarks become comments."""
    lines = [f"# {_plain(remark)}" for remark in remarks]
    lines += ["", *_top(profile), "", *_serial(profile)]
    for item in profile.fields:
        lines += ["", "[[field]]", *_field(item)]
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    return "".join(char if char.isprintable() else " " for char in text)


def _text(text: str) -> str:
    """A TOML basic string; JSON's escapes are TOML's, but for DEL."""
    return json.dumps(text).replace("\x7f", "\\u007f")


def _texts(texts: Sequence[str]) -> str:
    return "[" + ", ".join(map(_text, texts)) + "]"


def _top(profile: LineProfile) -> Iterator[str]:
    yield f"title = {_text(profile.title)}"
    yield f'quantity = "{profile.quantity}"'
    yield f'unit = "{profile.unit}"'
    if profile.quantity is Quantity.PRESSURE:
        yield f'suction = "{profile.suction}"'
    yield f'mode = "{profile.mode}"'
    if profile.request:
        yield f"request = {_text(profile.request.decode('ascii'))}"
    yield f"period_s = {profile.period_s!r}"
    yield f"terminator = {_text(profile.terminator.decode('ascii'))}"
    yield f"silence_s = {profile.silence_s!r}"
    if profile.overload:
        yield f"overload = {_texts(profile.overload)}"
    if profile.underload:
        yield f"underload = {_texts(profile.underload)}"


def _serial(profile: LineProfile) -> Iterator[str]:
    serial = profile.serial
    yield "[serial]"
    yield f"baud = {serial.baud}"
    yield f"bytesize = {serial.bytesize}"
    yield f'parity = "{serial.parity}"'
    yield f"stopbits = {serial.stopbits}"


def _field(item: LineField) -> Iterator[str]:
    match item:
        case TextField(text):
            yield from ('kind = "text"', f"text = {_text(text)}")
        case SpacesField(at_least, at_most):
            yield from ('kind = "spaces"', f"at_least = {at_least}", f"at_most = {at_most}")
        case StabilityField(stable, unstable):
            yield from ('kind = "stability"', f"stable = {_texts(stable)}", f"unstable = {_texts(unstable)}")
        case SignField(positive, negative):
            yield from ('kind = "sign"', f"positive = {_texts(positive)}", f"negative = {_texts(negative)}")
        case NumberField():
            yield from _number(item)
        case UnitField(texts, width):
            yield 'kind = "unit"'
            yield from [] if width is None else [f"width = {width}"]
            yield "texts = { " + ", ".join(f'{_text(t)} = "{u.value}"' for t, u in texts.items()) + " }"
        case CounterField(width):
            yield 'kind = "counter"'
            yield from [] if width is None else [f"width = {width}"]
        case IgnoredField(width):
            yield from ('kind = "ignored"', f"width = {width}")
        case WordField(texts):
            yield from ('kind = "word"', f"texts = {_texts(texts)}")
        case OtherNumberField():
            yield 'kind = "other"'


def _number(item: NumberField) -> Iterator[str]:
    yield 'kind = "number"'
    if item.width is not None:
        yield f"width = {item.width}"
        yield f'fill = "{item.fill}"'
    if item.signed:
        yield "signed = true"
    yield f'decimal = "{item.decimal}"'
