"""What an instrument's line looks like, as plain data that can be filled in from its manual.

`drivers.profile_file` reads it from TOML, `drivers.line_grammar` turns the fields into a parser.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from drivers.units import Quantity, Unit


class Mode(StrEnum):
    """Who starts an exchange."""

    POLLED = "polled"
    STREAMED = "streamed"


class Suction(StrEnum):
    """The sign the instrument gives to suction (the sieve below the room)."""

    POSITIVE = "positive"
    NEGATIVE = "negative"


@dataclass(frozen=True, slots=True)
class TextField:
    """Characters that never change."""

    text: str


@dataclass(frozen=True, slots=True)
class SpacesField:
    """A run of spaces of varying length."""

    at_least: int
    at_most: int


@dataclass(frozen=True, slots=True)
class StabilityField:
    """The marks for a stable and for a moving value; an empty text means that the mark is left out."""

    stable: tuple[str, ...]
    unstable: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SignField:
    """The sign, apart from the number; an empty text means that it is left out."""

    positive: tuple[str, ...]
    negative: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class NumberField:
    """A decimal number, right-aligned in `width` characters when that is given.

    `signed` allows + or - directly before the first digit. At least one digit stands before the decimal
    mark and one after it; exponents and thousands separators are never accepted.
    """

    width: int | None = None
    signed: bool = False
    decimal: Literal["point", "comma"] = "point"
    fill: Literal["space", "zero"] = "space"


@dataclass(frozen=True, slots=True)
class UnitField:
    """Texts of the line and the units they mean, left-aligned in `width` characters when given."""

    texts: Mapping[str, Unit]
    width: int | None = None


@dataclass(frozen=True, slots=True)
class CounterField:
    """The instrument's own line counter, digits only."""

    width: int | None = None


@dataclass(frozen=True, slots=True)
class IgnoredField:
    """`width` printable characters that mean nothing here (a clock, an article number)."""

    width: int


@dataclass(frozen=True, slots=True)
class WordField:
    """One of these texts, without meaning here (net or gross, a range); any other is no line of the profile."""

    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OtherNumberField:
    """Another number of the line (tare, gross), of any length, with the blanks and the sign before it."""


LineField = (
    TextField
    | SpacesField
    | StabilityField
    | SignField
    | NumberField
    | UnitField
    | CounterField
    | IgnoredField
    | WordField
    | OtherNumberField
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SerialSettings:
    """How the serial port is opened; a TCP port ignores them."""

    baud: int = 9600
    bytesize: Literal[7, 8] = 8
    parity: Literal["none", "even", "odd"] = "none"
    stopbits: Literal[1, 2] = 1
    xonxoff: bool = False
    rtscts: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LineProfile:
    """One instrument dialect of text lines.

    `period_s` is bench time. `silence_s` is real time without a good line after which the link counts as
    silent. `minimum` and `maximum` are in `unit`, suction positive; a number outside is rejected. A mark
    in `overload` or `underload` stands in the place of the number, of sign and number, or is the whole
    line without the spaces around it.
    """

    name: str
    title: str
    quantity: Quantity
    unit: Unit
    mode: Mode
    period_s: float
    terminator: bytes
    fields: tuple[LineField, ...]
    request: bytes = b""
    suction: Suction = Suction.POSITIVE
    overload: tuple[str, ...] = ()
    underload: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    max_line_bytes: int = 256
    silence_s: float = 2.0
    serial: SerialSettings = field(default_factory=SerialSettings)
