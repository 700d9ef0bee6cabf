"""The shipped profiles, and an encoder that writes lines from a profile: the opposite of the codec."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Final

from drivers.line_codec import LineCodec
from drivers.profile import (
    CounterField,
    IgnoredField,
    LineField,
    LineProfile,
    Mode,
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
from drivers.profile_file import load_profile
from drivers.reading import Reading
from drivers.units import Quantity, Unit

PROFILE_FOLDER: Final = Path(__file__).parents[2] / "config" / "profiles"
NAMES: Final = (
    "polled-line-balance",
    "streamed-line-balance",
    "streamed-line-pressure",
    "polled-line-pressure",
)

DECIMALS: Final = {
    "polled-line-balance": 3,
    "streamed-line-balance": 2,
    "streamed-line-pressure": 1,
    "polled-line-pressure": 3,
}


def shipped(name: str) -> LineProfile:
    return load_profile(PROFILE_FOLDER / f"{name}.toml")


@dataclass(frozen=True, slots=True)
class Sent:
    """What the instrument shows: `steps` of the last of `decimals` digits, as the line carries it."""

    steps: int
    decimals: int
    stable: bool = True
    counter: int = 0


def encode(profile: LineProfile, sent: Sent) -> bytes:
    line = "".join(_text(profile, item, sent) for item in profile.fields)
    return line.encode("ascii") + profile.terminator


def shown_steps(profile: LineProfile, steps: int) -> int:
    """Suction positive to the sign that the instrument sends."""
    return -steps if profile.suction is Suction.NEGATIVE else steps


def _text(profile: LineProfile, item: LineField, sent: Sent) -> str:
    match item:
        case TextField(text):
            return text
        case SpacesField(at_least, _):
            return " " * at_least
        case StabilityField(stable, unstable):
            return (stable if sent.stable else unstable)[0]
        case SignField(positive, negative):
            return (negative if sent.steps < 0 else positive)[0]
        case NumberField():
            return _number(item, sent)
        case UnitField(texts, width):
            shown = next(text for text, unit in texts.items() if unit is profile.unit)
            return shown.ljust(width or 0)
        case CounterField(width):
            return str(sent.counter).zfill(width or 0)
        case IgnoredField(width):
            return "x" * width
        case WordField(texts):
            return texts[0]
        case OtherNumberField():
            return "   -7.5"


def _number(item: NumberField, sent: Sent) -> str:
    whole, part = divmod(abs(sent.steps), 10**sent.decimals)
    mark = "," if item.decimal == "comma" else "."
    text = f"{whole}{mark}{part:0{sent.decimals}d}" if sent.decimals else str(whole)
    if item.signed and sent.steps < 0:
        text = "-" + text
    return text.rjust(item.width or 0, "0" if item.fill == "zero" else " ")


def in_step(profile: LineProfile) -> LineCodec:
    """A codec that has seen its first terminator."""
    codec = LineCodec(profile)
    codec.receive(profile.terminator, 0)
    return codec


def read(profile: LineProfile, data: bytes) -> list[Reading]:
    codec = in_step(profile)
    codec.receive(data, 0)
    return codec.readings()


def exact(steps: int, decimals: int, unit: Unit) -> float:
    return float(Fraction(steps, 10**decimals) * Fraction(10) ** unit.exponent)


def invented(fields: tuple[LineField, ...], terminator: bytes = b"\r\n") -> LineProfile:
    return LineProfile(
        name="invented",
        title="Invented",
        quantity=Quantity.MASS,
        unit=Unit.G,
        mode=Mode.STREAMED,
        period_s=0.1,
        terminator=terminator,
        fields=fields,
        overload=("OVER",),
    )
