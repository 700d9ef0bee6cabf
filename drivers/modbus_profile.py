"""What an instrument's Modbus registers mean, as plain data that can be filled in from its manual."""

from __future__ import annotations

from collections.abc import Sequence
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


@dataclass(frozen=True, slots=True)
class Span:
    """Registers that one request reads: `count` from `address` on."""

    kind: RegisterKind
    address: int
    count: int

    def words(self, of: Span, read: Sequence[int]) -> tuple[int, ...]:
        """Those of another span that lies within this one, out of what was read."""
        start = of.address - self.address
        return tuple(read[start : start + of.count])


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """One number in the map. `address` is the one on the wire: it counts from 0."""

    kind: RegisterKind
    address: int
    type: RegisterType
    word_order: WordOrder = WordOrder.HIGH_FIRST

    @property
    def span(self) -> Span:
        """The registers that it takes."""
        return Span(self.kind, self.address, self.type.word_count)


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusBits:
    """A register of flags, bit 0 the lowest. A set bit of `fault` makes the reading unusable.

    `with_value`: one request reads value and status, with all that lies between them.
    """

    register: Register
    with_value: bool = False
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

    @property
    def spans(self) -> tuple[Span, Span | None]:
        """What is asked for a reading: value, and status unless one request reads both (or there is none)."""
        value = self.value.span
        if self.status is None:
            return value, None
        status = self.status.register.span
        if not self.status.with_value:
            return value, status
        first = min(value.address, status.address)
        end = max(value.address + value.count, status.address + status.count)
        return Span(value.kind, first, end - first), None


Profile = LineProfile | ModbusProfile
"""Either kind of instrument profile."""
