"""Registers to readings. Pure: any register contents give a reading, never an exception."""

from __future__ import annotations

import math
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from drivers.modbus_profile import ModbusProfile, Register, RegisterType, StatusBits, WordOrder
from drivers.profile import Suction
from drivers.reading import Quality, Reading

_FORMATS: Final = {
    RegisterType.FLOAT32: ">f",
    RegisterType.INT16: ">h",
    RegisterType.UINT16: ">H",
    RegisterType.INT32: ">i",
    RegisterType.UINT32: ">I",
}


@dataclass(frozen=True, slots=True)
class Decoded:
    """A reading, and why it is not usable (empty when it is)."""

    reading: Reading
    trouble: str


def number_in(register: Register, words: Sequence[int]) -> float | int:
    """The number in `words`, as many 16-bit registers as the type has, in the order they were read."""
    if register.word_order is WordOrder.LOW_FIRST:
        words = words[::-1]
    packed = struct.pack(f">{register.type.word_count}H", *words)
    number: float | int = struct.unpack(_FORMATS[register.type], packed)[0]
    return number


def decode(profile: ModbusProfile, words: Sequence[int], status: int | None, at_ns: int) -> Decoded:
    """One reading from the value register's words and the status register (None when there is none)."""
    number = number_in(profile.value, words)
    quality, trouble = _judge(profile, number, status)
    value = None
    if quality is Quality.OK:
        value = _in_pa(profile, number)
        if not _in_range(profile, number):
            low, high, unit = profile.minimum, profile.maximum, profile.unit
            quality, value = Quality.REJECTED, None
            trouble = f"the number {_shown(profile, number)} {unit} is outside {low} to {high} {unit}"
    reading = Reading(
        at_ns=at_ns,
        value=value,
        unit=profile.unit.base,
        quality=quality,
        stable=_steady(profile.status, status),
        resolution=_resolution(profile),
        raw=raw_text(profile, words, status),
    )
    return Decoded(reading, trouble)


def refused_reading(profile: ModbusProfile, code: int, at_ns: int) -> Reading:
    """The instrument answered with an exception instead of registers."""
    raw = f"exception {code}"
    return Reading(at_ns, None, profile.unit.base, Quality.REJECTED, None, None, raw)


def raw_text(profile: ModbusProfile, words: Sequence[int], status: int | None) -> str:
    """The registers as received, in hexadecimal: `input 0: 451d 0000, input 5: 0004`."""
    parts = [_registers_text(profile.value, words)]
    if profile.status is not None and status is not None:
        parts.append(_registers_text(profile.status.register, [status]))
    return ", ".join(parts)


def _registers_text(register: Register, words: Sequence[int]) -> str:
    return f"{register.kind} {register.address}: " + " ".join(f"{word:04x}" for word in words)


def _judge(profile: ModbusProfile, number: float | int, status: int | None) -> tuple[Quality, str]:
    """The instrument's own word on the number comes first: its status, then its marks."""
    bits = profile.status
    if bits is not None and status is not None:
        if faults := _set(bits.fault, status):
            named = ", ".join(str(bit) for bit in faults)
            return Quality.REJECTED, f"it reports a fault of its own (status bit {named})"
        if _set(bits.overload, status):
            return Quality.OVERLOAD, ""
        if _set(bits.underload, status):
            return Quality.UNDERLOAD, ""
    if number in profile.overload:
        return Quality.OVERLOAD, ""
    if number in profile.underload:
        return Quality.UNDERLOAD, ""
    if not math.isfinite(number):
        return Quality.REJECTED, f"it gives {number} instead of a number"
    return Quality.OK, ""


def _set(bits: Sequence[int], status: int) -> list[int]:
    return [bit for bit in bits if status >> bit & 1]


def _steady(bits: StatusBits | None, status: int | None) -> bool | None:
    if bits is None or bits.steady is None or status is None:
        return None
    return bool(status >> bits.steady & 1)


def _scaled(profile: ModbusProfile, number: float | int) -> Decimal:
    """In the profile's unit with suction positive; decimal, so that 2513 times 0.001 is exactly 2.513."""
    scaled = Decimal(number) * Decimal(repr(profile.scale))
    return -scaled if profile.suction is Suction.NEGATIVE else scaled


def _in_pa(profile: ModbusProfile, number: float | int) -> float:
    return float(_scaled(profile, number).scaleb(profile.unit.exponent)) + 0.0  # +0.0: no negative zero


def _in_range(profile: ModbusProfile, number: float | int) -> bool:
    value = float(_scaled(profile, number))
    above = profile.minimum is None or value >= profile.minimum
    return above and (profile.maximum is None or value <= profile.maximum)


def _shown(profile: ModbusProfile, number: float | int) -> str:
    return f"{float(_scaled(profile, number)):g}"


def _resolution(profile: ModbusProfile) -> float | None:
    """One step of a whole number, in Pa; a float has no fixed step."""
    if profile.value.type is RegisterType.FLOAT32:
        return None
    return float(Decimal(repr(profile.scale)).scaleb(profile.unit.exponent))
