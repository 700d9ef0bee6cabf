"""Instrument profiles from TOML files. Everything doubtful is refused with its line; nothing is guessed."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, cast

from drivers.profile import (
    CounterField,
    IgnoredField,
    LineField,
    LineProfile,
    Mode,
    NumberField,
    OtherNumberField,
    SerialSettings,
    SignField,
    SpacesField,
    StabilityField,
    Suction,
    TextField,
    UnitField,
    WordField,
)
from drivers.toml_table import ProfileError, TomlSource, TomlTable
from drivers.units import Quantity, Unit

_TOP_KEYS: Final = (
    "title",
    "quantity",
    "unit",
    "suction",
    "mode",
    "request",
    "period_s",
    "terminator",
    "max_line_bytes",
    "silence_s",
    "overload",
    "underload",
    "range",
    "serial",
    "field",
)
_SERIAL_KEYS: Final = ("baud", "bytesize", "parity", "stopbits", "xonxoff", "rtscts")


def load_profile(path: Path) -> LineProfile:
    """Reads one profile file; its name is the file's without `.toml`. Raises ProfileError."""
    try:
        data = path.read_bytes()
    except OSError as error:
        problem = f"the profile cannot be read ({error.strerror})"
        raise ProfileError(str(path), None, problem, "check the path and its permissions") from None
    return parse_profile(data, path.name)


def parse_profile(data: bytes, file: str) -> LineProfile:
    """Reads a profile from the content of `file`. Raises ProfileError."""
    top = TomlSource(file, data).root(_TOP_KEYS)
    quantity = Quantity(top.choice("quantity", [*Quantity]))
    mode = Mode(top.choice("mode", [*Mode]))
    low, high = read_range(top)
    overload, underload = _marks(top)
    return LineProfile(
        name=Path(file).stem,
        title=top.title("title"),
        quantity=quantity,
        unit=read_unit(top, quantity),
        suction=read_suction(top, quantity),
        mode=mode,
        request=_request(top, mode),
        period_s=top.number("period_s", 0.001, 3600),
        terminator=_terminator(top),
        max_line_bytes=top.whole("max_line_bytes", 8, 256, 256),
        silence_s=top.number("silence_s", 0.5, 600, 2.0),
        overload=overload,
        underload=underload,
        minimum=low,
        maximum=high,
        serial=read_serial(top),
        fields=_fields(top),
    )


def read_unit(top: TomlTable, quantity: Quantity) -> Unit:
    """The unit, one of those of the quantity."""
    units = [unit for unit in Unit if unit.quantity is quantity]
    return Unit(top.choice("unit", units))


def read_suction(top: TomlTable, quantity: Quantity) -> Suction:
    """The sign of suction, which only a pressure has."""
    if quantity is Quantity.PRESSURE:
        return Suction(top.choice("suction", [*Suction]))
    if "suction" in top:
        raise top.error("suction", "suction belongs to a pressure profile", "leave it out")
    return Suction.POSITIVE


def _request(top: TomlTable, mode: Mode) -> bytes:
    if mode is Mode.STREAMED:
        if "request" in top:
            raise top.error("request", "a streamed instrument is not asked", "leave request out")
        return b""
    request = top.text("request")
    if not 1 <= len(request) <= 64:
        raise top.error("request", f"request has {len(request)} characters", "write 1 to 64 characters")
    return request.encode("ascii")


def _terminator(top: TomlTable) -> bytes:
    terminator = top.text("terminator")
    if not 1 <= len(terminator) <= 4:
        raise top.error(
            "terminator", f"terminator has {len(terminator)} characters", 'write 1 to 4, for example "\\r\\n"'
        )
    return terminator.encode("ascii")


def read_range(top: TomlTable) -> tuple[float | None, float | None]:
    """Lowest and highest number of the table [range]."""
    table = top.table("range", ["min", "max"])
    low = table.number("min", -1e9, 1e9) if "min" in table else None
    high = table.number("max", -1e9, 1e9) if "max" in table else None
    if low is not None and high is not None and low >= high:
        raise table.error("max", f"max ({high:g}) is not above min ({low:g})", "swap or correct them")
    return low, high


def _marks(top: TomlTable) -> tuple[tuple[str, ...], tuple[str, ...]]:
    overload, underload = top.texts("overload", ()), top.texts("underload", ())
    for key, marks in (("overload", overload), ("underload", underload)):
        for mark in marks:
            if not mark.strip(" ") or mark != mark.strip(" "):
                raise top.error(key, f"the mark {mark!r} is empty or has spaces around", "write it bare")
            if re.fullmatch(r"[-+]?[0-9]*[.,]?[0-9]*", mark) and any(c.isdigit() for c in mark):
                raise top.error(key, f"the mark {mark!r} is a number", "use [range] for limits")
    if both := set(overload) & set(underload):
        raise top.error("underload", f"{min(both)!r} is also an overload mark", "keep it in one list")
    return overload, underload


def read_serial(top: TomlTable) -> SerialSettings:
    """How the port is opened: the table [serial]."""
    table = top.table("serial", _SERIAL_KEYS)
    settings = SerialSettings(
        baud=table.whole("baud", 50, 4_000_000, 9600),
        bytesize=cast("Any", table.whole("bytesize", 7, 8, 8)),
        parity=cast("Any", table.choice("parity", ["none", "even", "odd"], "none")),
        stopbits=cast("Any", table.whole("stopbits", 1, 2, 1)),
        xonxoff=table.flag("xonxoff", False),
        rtscts=table.flag("rtscts", False),
    )
    if settings.xonxoff and settings.rtscts:
        raise table.error("rtscts", "xonxoff and rtscts are both on", "use the one the manual names")
    return settings


def _text_field(table: TomlTable) -> LineField:
    if not (text := table.text("text")):
        raise table.error("text", "text is empty", "write the characters, or leave the field out")
    return TextField(text)


def _spaces_field(table: TomlTable) -> LineField:
    at_least = table.whole("at_least", 0, 64, 1)
    at_most = table.whole("at_most", 1, 64, 16)
    if at_least > at_most:
        raise table.error("at_most", f"at_most is below at_least ({at_least})", "correct one of them")
    return SpacesField(at_least, at_most)


def _two_marks(table: TomlTable, first: str, second: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    one, two = table.texts(first), table.texts(second)
    if not one and not two:
        raise table.error(first, f"{first} and {second} are both empty", "name at least one mark")
    if both := set(one) & set(two):
        raise table.error(second, f"{min(both)!r} is also in {first}", "keep it in one list")
    return one, two


def _stability_field(table: TomlTable) -> LineField:
    return StabilityField(*_two_marks(table, "stable", "unstable"))


def _sign_field(table: TomlTable) -> LineField:
    return SignField(*_two_marks(table, "positive", "negative"))


def _number_field(table: TomlTable) -> LineField:
    return NumberField(
        width=_width(table),
        signed=table.flag("signed", False),
        decimal=cast("Any", table.choice("decimal", ["point", "comma"], "point")),
        fill=cast("Any", table.choice("fill", ["space", "zero"], "space")),
    )


def _unit_field(table: TomlTable) -> LineField:
    width = _width(table)
    texts: dict[str, Unit] = {}
    for text, unit in table.mapping("texts").items():
        if not text.isascii():
            raise table.error("texts", f"{text!r} is not ASCII", "write the characters the line carries")
        if width is not None and len(text) > width:
            raise table.error("texts", f"{text!r} is wider than {width}", "correct width or the text")
        if unit not in [*Unit]:
            known = ", ".join(Unit)
            raise table.error("texts", f"{unit!r} is not a unit known here", f"choose one of {known}")
        texts[text] = Unit(unit)
    return UnitField(texts, width)


def _counter_field(table: TomlTable) -> LineField:
    return CounterField(_width(table))


def _ignored_field(table: TomlTable) -> LineField:
    return IgnoredField(table.whole("width", 1, 64))


def _word_field(table: TomlTable) -> LineField:
    texts = table.texts("texts")
    if not any(texts):
        raise table.error("texts", "texts names no text", 'write a list, for example ["N", "G"]')
    return WordField(texts)


def _other_field(table: TomlTable) -> LineField:
    return OtherNumberField()


def _width(table: TomlTable) -> int | None:
    return table.whole("width", 1, 64) if "width" in table else None


_FIELD_KINDS: Final[dict[str, tuple[tuple[str, ...], Callable[[TomlTable], LineField]]]] = {
    "text": (("text",), _text_field),
    "spaces": (("at_least", "at_most"), _spaces_field),
    "stability": (("stable", "unstable"), _stability_field),
    "sign": (("positive", "negative"), _sign_field),
    "number": (("width", "signed", "decimal", "fill"), _number_field),
    "unit": (("texts", "width"), _unit_field),
    "counter": (("width",), _counter_field),
    "ignored": (("width",), _ignored_field),
    "word": (("texts",), _word_field),
    "other": ((), _other_field),
}
_ALL_FIELD_KEYS: Final = ["kind", *dict.fromkeys(key for keys, _ in _FIELD_KINDS.values() for key in keys)]


def _fields(top: TomlTable) -> tuple[LineField, ...]:
    tables = top.tables("field", _ALL_FIELD_KEYS)
    fields: list[LineField] = []
    for table in tables:
        kind = table.choice("kind", list(_FIELD_KINDS))
        keys, build = _FIELD_KINDS[kind]
        table.only(("kind", *keys))
        fields.append(build(table))
        _check_alone(fields, table)
        _check_neighbours(fields, table)
    _check_whole(fields, tables, top)
    return tuple(fields)


def _check_alone(fields: list[LineField], table: TomlTable) -> None:
    """Text, spaces and what has no meaning may come again, the others not."""
    *before, last = fields
    again = TextField | SpacesField | IgnoredField | WordField | OtherNumberField
    if not isinstance(last, again) and type(last) in map(type, before):
        raise table.error("kind", "this field stands twice", "keep one of its kind")


def _check_neighbours(fields: list[LineField], table: TomlTable) -> None:
    """Two neighbours must not be able to share characters, or a line could be read in two ways."""
    if len(fields) < 2:
        return
    before, last = fields[-2:]
    open_number = isinstance(before, OtherNumberField) or (
        isinstance(before, NumberField | CounterField) and before.width is None
    )
    runs_in = isinstance(last, CounterField | NumberField | IgnoredField | OtherNumberField)
    if isinstance(last, OtherNumberField) and isinstance(before, SpacesField):
        raise table.error("kind", "the spaces before belong to this field", "leave the spaces out")
    if open_number and runs_in:
        raise table.error("kind", "the number before has no width and runs into this field", "give its width")
    if isinstance(before, SpacesField) and not isinstance(last, TextField | SignField | StabilityField):
        filled = isinstance(last, SpacesField | IgnoredField) or getattr(last, "width", None) is not None
        if filled and not isinstance(last, CounterField):
            raise table.error("kind", "the spaces before could belong to this field", "count them in width")


def _check_whole(fields: list[LineField], tables: list[TomlTable], top: TomlTable) -> None:
    pairs = zip(fields, tables, strict=True)
    number, table = next(((f, t) for f, t in pairs if isinstance(f, NumberField)), (None, None))
    if number is None or table is None:
        raise top.error("field", "no field is the number", 'add a field with kind = "number"')
    if number.signed and any(isinstance(item, SignField) for item in fields):
        raise table.error(
            "signed", "the sign has a field and the number is signed too", "keep one of the two"
        )
    if number.fill == "zero" and number.width is None:
        raise table.error("fill", "a number filled with zeros needs its width", "add width to the number")
