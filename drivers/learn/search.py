"""Speed and framing by trying: at the wrong one, text becomes noise. Says what to try next, given what was heard.

Listening with 8 bits and no parity shows 7 bits with parity as well: the eighth bit is then the parity of the
others, and one look tells which. A parity bit beyond eight data bits is not seen by a receiver that ignores it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from drivers.profile import SerialSettings

BAUDS: Final = (9600, 2400, 4800, 19200, 1200, 38400, 115200, 57600, 600, 300)
"""In the order of how often they are met on balances and transducers (common practice)."""
ENOUGH_BYTES: Final = 24
SURE: Final = 0.95
"""Share of bytes that text of an instrument has at least."""

_TEXT: Final = frozenset({*range(0x20, 0x7F), *b"\x02\x03\x04\x06\t\r\n"})
_ORDINARY: Final = frozenset(b"0123456789+-., ")


@dataclass(frozen=True, slots=True)
class Sound:
    """What bytes sound like. `settings` is how to listen for text, None when this is none."""

    share: float
    """Share of the bytes that text has."""
    settings: SerialSettings | None


def settings_to_try() -> Iterator[SerialSettings]:
    """Each speed with 8 bits and no parity; then the framings that this cannot show."""
    for baud in BAUDS:
        yield SerialSettings(baud=baud)
    for baud in BAUDS:
        yield SerialSettings(baud=baud, bytesize=8, parity="even")
        yield SerialSettings(baud=baud, bytesize=7, parity="none")


def sound_of(data: bytes, heard_with: SerialSettings) -> Sound:
    """Judges bytes that were heard with these settings; too few are no text."""
    best = Sound(0.0, None)
    for settings, turned in _readings(data, heard_with):
        share = _share(turned)
        if share > best.share:
            good = share >= SURE and len(data) >= ENOUGH_BYTES and _has_numbers(turned)
            best = Sound(share, settings if good else None)
    return best


def as_heard(data: bytes, settings: SerialSettings) -> bytes:
    """Bytes heard with 8 bits, as a port opened with `settings` would hand them on."""
    return bytes(byte & 0x7F for byte in data) if settings.bytesize == 7 else data


def _readings(data: bytes, heard_with: SerialSettings) -> Iterator[tuple[SerialSettings, bytes]]:
    yield heard_with, data
    if heard_with.bytesize != 8 or heard_with.parity != "none" or not data:
        return
    low = bytes(byte & 0x7F for byte in data)
    parities = {byte.bit_count() % 2 for byte in data}
    if parities == {0}:
        yield replace(heard_with, bytesize=7, parity="even"), low
    elif parities == {1}:
        yield replace(heard_with, bytesize=7, parity="odd"), low
    elif all(byte & 0x80 for byte in data):
        yield replace(heard_with, bytesize=7, stopbits=2), low


def _share(data: bytes) -> float:
    return sum(byte in _TEXT for byte in data) / len(data) if data else 0.0


def _has_numbers(data: bytes) -> bool:
    """Instruments send digits; garbage that happens to be printable seldom does so."""
    return sum(byte in _ORDINARY for byte in data) >= 0.3 * len(data) and any(48 <= b <= 57 for b in data)
