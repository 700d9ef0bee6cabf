"""The four line dialects, character by character as the layout comments in `config/profiles` describe them.

Written from those descriptions and from nothing else: the codecs that read these lines are somebody
else's work, so that one mistake cannot hide in both ends.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

Channel = Literal["mass", "pressure", "permit"]
"""Ports of the bench; `permit` only where a relay is fitted."""
ShownState = Literal["ok", "overload", "underload"]


@dataclass(frozen=True, slots=True)
class Shown:
    """What the instrument is about to say: `value` in g or in Pa of suction."""

    value: float
    stable: bool = True
    state: ShownState = "ok"


@dataclass(frozen=True, slots=True)
class Manner:
    """Settings at the instrument that change how it says it; None means as delivered."""

    unit: str | None = None
    fewer_decimals: int = 0
    number_text: str | None = None
    """Replaces the number by this text, as a broken display would."""


AS_DELIVERED = Manner()

LineMaker = Callable[[Shown, Manner, int], bytes]


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit the instrument can be switched to: divide the base unit by `size`, show `decimals`."""

    size: float
    decimals: int


@dataclass(frozen=True, slots=True)
class Dialect:
    """One instrument's way of speaking. `request` is None for one that streams by itself every `period_s`."""

    name: str
    channel: Channel
    request: bytes | None
    terminator: bytes
    period_s: float
    low: float
    high: float
    other_unit: str
    """The unit somebody would switch to by accident."""
    make: LineMaker

    def line(self, shown: Shown, manner: Manner = AS_DELIVERED, counter: int = 0) -> bytes:
        """One line with its terminator; what lies outside the range is said with the range's mark."""
        state = shown.state
        if state == "ok" and shown.value > self.high:
            state = "overload"
        elif state == "ok" and shown.value < self.low:
            state = "underload"
        body = self.make(Shown(shown.value, shown.stable, state), manner, counter)
        return body + self.terminator


def _digits(value: float, unit: Unit, manner: Manner) -> tuple[bool, str]:
    """Whether the rounded number is below zero, and its digits without a sign."""
    decimals = max(unit.decimals - manner.fewer_decimals, 0)
    text = f"{abs(value) / unit.size:.{decimals}f}"
    below = value < 0 and any(c in "123456789" for c in text)
    return below, text if manner.number_text is None else manner.number_text


_G_POLLED = {"g": Unit(1.0, 3), "kg": Unit(1000.0, 6), "mg": Unit(0.001, 0)}


def _polled_balance(shown: Shown, manner: Manner, _counter: int) -> bytes:
    unit = manner.unit or "g"
    below, number = _digits(shown.value, _G_POLLED[unit], manner)
    if shown.state != "ok":
        number = ("^" if shown.state == "overload" else "v") * 9
        below = shown.state == "underload"
    mark = "S" if shown.stable else "D"
    return f"{mark} {'-' if below else '+'}{number:>9} {unit}".encode()


_G_STREAMED = {"g": Unit(1.0, 2), "kg": Unit(1000.0, 5)}


def _streamed_balance(shown: Shown, manner: Manner, counter: int) -> bytes:
    unit = manner.unit or "g"
    below, number = _digits(shown.value, _G_STREAMED[unit], manner)
    text = ("-" if below else "") + number.replace(".", ",")
    if shown.state != "ok":
        text = "OVERLOAD" if shown.state == "overload" else "UNDERLOAD"
    mark = "=" if shown.stable else "~"
    return f"{unit:<2} {text:>10} {mark} {counter % 10000:04d}".encode()


_PA_STREAMED = {"Pa": Unit(1.0, 1), "hPa": Unit(100.0, 3), "kPa": Unit(1000.0, 4), "mbar": Unit(100.0, 3)}


def _streamed_pressure(shown: Shown, manner: Manner, _counter: int) -> bytes:
    if shown.state != "ok":
        return b"dp=OVER" if shown.state == "overload" else b"dp=UNDER"
    unit = manner.unit or "Pa"
    below, number = _digits(shown.value, _PA_STREAMED[unit], manner)
    return f"dp={'-' if below else '+'}{number} {unit};{'ok' if shown.stable else 'mv'}".encode()


_PA_POLLED = {"kPa": Unit(1000.0, 3), "mbar": Unit(100.0, 2)}


def _polled_pressure(shown: Shown, manner: Manner, _counter: int) -> bytes:
    unit = manner.unit or "kPa"
    if shown.state != "ok":
        return f"P1,{('#' if shown.state == 'overload' else '_') * 7},{unit}".encode()
    over, number = _digits(-shown.value, _PA_POLLED[unit], manner)
    return f"P1,{'-' if over else '+'}{number:>06},{unit}".encode()


DIALECTS: dict[str, Dialect] = {
    dialect.name: dialect
    for dialect in (
        Dialect(
            name="polled-line-balance",
            channel="mass",
            request=b"W\r\n",
            terminator=b"\r\n",
            period_s=0.2,
            low=-50.0,
            high=620.0,
            other_unit="kg",
            make=_polled_balance,
        ),
        Dialect(
            name="streamed-line-balance",
            channel="mass",
            request=None,
            terminator=b"\r",
            period_s=0.1,
            low=-500.0,
            high=32_000.0,
            other_unit="kg",
            make=_streamed_balance,
        ),
        Dialect(
            name="polled-line-pressure",
            channel="pressure",
            request=b"P1?\r\n",
            terminator=b"\r\n",
            period_s=0.2,
            low=-500.0,
            high=10_000.0,
            other_unit="mbar",
            make=_polled_pressure,
        ),
        Dialect(
            name="streamed-line-pressure",
            channel="pressure",
            request=None,
            terminator=b"\n",
            period_s=0.1,
            low=-500.0,
            high=10_000.0,
            other_unit="mbar",
            make=_streamed_pressure,
        ),
    )
}


class UnknownDialectError(ValueError):
    """A dialect that does not exist, or one for the other instrument; the text says what there is."""


def find_dialect(name: str, channel: Channel, also: tuple[str, ...] = ()) -> Dialect:
    """The dialect of that name for that instrument. Raises UnknownDialectError, which tells of `also` too."""
    fitting = [d for d in DIALECTS.values() if d.channel == channel]
    for dialect in fitting:
        if dialect.name == name:
            return dialect
    names = [*(d.name for d in fitting), *also]
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.4)
    hint = f"did you mean {near[0]}? " if near else ""
    there = ", ".join(names)
    raise UnknownDialectError(f"the simulator speaks no {channel} dialect {name!r}; {hint}There are: {there}")


def requests_in(pending: bytes, dialect: Dialect) -> tuple[int, bytes]:
    """How many whole requests lie in `pending`, and what is left over for the next time.

    Lines that are not the request are not answered; a line without an end is kept up to 64 bytes.
    """
    if dialect.request is None:
        return 0, b""
    *lines, rest = pending.split(b"\n")
    asked = sum(1 for line in lines if line + b"\n" == dialect.request)
    return asked, rest[-64:]
