"""What a driver hands on for each line: a value in g or Pa, or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from drivers.units import BaseUnit


class Quality(StrEnum):
    """Whether `Reading.value` may be used as a number."""

    OK = "ok"
    OVERLOAD = "overload"
    UNDERLOAD = "underload"
    REJECTED = "rejected"
    """Not a line of the profile (garbage, cut, out of range); `raw` says what came."""
    WRONG_UNIT = "wrong-unit"
    """A good line in another unit than the profile expects; never converted."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One line of an instrument.

    `at_ns` is the injected clock when the bytes that completed the line arrived. `value` is in `unit`
    (pressure with suction positive) and None unless quality is ok. `stable` is None when the line carries
    no mark. `resolution` is one step of the last digit sent, in `unit`. `raw` is the line as received
    without its terminator, bounded, backslashes and non-printing bytes escaped. `repeated` is True when
    the instrument's own line counter did not move since the line before.
    """

    at_ns: int
    value: float | None
    unit: BaseUnit
    quality: Quality
    stable: bool | None
    resolution: float | None
    raw: str
    repeated: bool = False


def escape_raw(data: bytes) -> str:
    r"""Printable ASCII as it is, a backslash doubled, every other byte as \xNN."""
    text = data.decode("latin-1")
    if text.isascii() and text.isprintable() and "\\" not in text:
        return text
    return "".join(_ESCAPES[byte] for byte in data)


def _escape_byte(byte: int) -> str:
    if byte == 0x5C:
        return "\\\\"
    return chr(byte) if 0x20 <= byte <= 0x7E else f"\\x{byte:02x}"


_ESCAPES = [_escape_byte(byte) for byte in range(256)]
