"""What an instrument's Modbus registers mean, as plain data that can be filled in from its manual."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from drivers.profile import LineProfile, SerialSettings, Suction
from drivers.units import Quantity, Unit

MODBUS_MODE: Final = "modbus-rtu"
"""The `mode` that tells a register map from a profile of text lines."""


class RegisterKind(StrEnum):
    """The table that a register stands in, and with it the function that reads it."""

    HOLDING = "holding"
    INPUT = "input"

    @property
    def function(self) -> int:
        """Modbus function code: 3 for holding registers, 4 for input registers."""
        return 3 if self is RegisterKind.HOLDING else 4


class RegisterType(StrEnum):
    """How the bits of one or two 16-bit registers make a number."""

    FLOAT32 = "float32"
    INT16 = "int16"
    UINT16 = "uint16"
    INT32 = "int32"
    UINT32 = "uint32"

    @property
    def word_count(self) -> int:
        """Number of registers."""
        return 1 if self in (RegisterType.INT16, RegisterType.UINT16) else 2


class WordOrder(StrEnum):
    """Which half of a 32-bit number comes first; it differs from maker to maker."""

    HIGH_FIRST = "high-first"
    LOW_FIRST = "low-first"


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """One number in the map. `address` is the one on the wire: it counts from 0."""

    kind: RegisterKind
    address: int
    type: RegisterType
    word_order: WordOrder = WordOrder.HIGH_FIRST


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusBits:
    """A register of flags, bit 0 the lowest. A set bit of `fault` makes the reading unusable."""

    register: Register
    fault: tuple[int, ...] = ()
    overload: tuple[int, ...] = ()
    underload: tuple[int, ...] = ()
    steady: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ModbusProfile:
    """One register map.

    The number in `value` times `scale` is in `unit`. `overload` and `underload` are whole numbers of the
    value register that mean above and below the range. `period_s` is bench time; `silence_s` real time
    without a good answer after which the link counts as silent. `minimum` and `maximum` are in `unit` with
    suction positive; a number outside is rejected. `identity` is the register of the serial number.
    """

    name: str
    title: str
    quantity: Quantity
    unit: Unit
    unit_id: int
    period_s: float
    value: Register
    scale: float = 1.0
    suction: Suction = Suction.POSITIVE
    overload: tuple[int, ...] = ()
    underload: tuple[int, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    status: StatusBits | None = None
    identity: Register | None = None
    silence_s: float = 2.0
    serial: SerialSettings = field(default_factory=SerialSettings)


Profile = LineProfile | ModbusProfile
"""Either kind of instrument profile."""
