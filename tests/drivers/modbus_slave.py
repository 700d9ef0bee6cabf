"""A slave played by the test behind a Peer: registers by address, exceptions and silence at will."""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass, field

from simulators.modbus import crc16


def float_words(value: float) -> list[int]:
    return list(struct.unpack(">HH", struct.pack(">f", value)))


@dataclass
class Slave:
    """The transducer of config/profiles/modbus-pressure.toml."""

    dp_pa: float = 2512.5
    status: int = 4
    number: int = 40_217
    unit: int = 1
    exception: int = 0
    """Answered to every request when it is not 0."""
    silent: bool = False
    asked: list[tuple[int, int, int]] = field(default_factory=list)
    before: bytes = b""
    """Noise in front of each answer."""

    def __call__(self, data: bytes) -> bytes:
        if len(data) != 8 or crc16(data[:6]) != data[6:] or data[0] != self.unit or self.silent:
            return b""
        _, function, address, count = struct.unpack(">BBHH", data[:6])
        self.asked.append((function, address, count))
        if self.exception:
            body = bytes([self.unit, function | 0x80, self.exception])
        else:
            words = self._words()[address : address + count]
            body = bytes([self.unit, function, 2 * count]) + struct.pack(f">{count}H", *words)
        return self.before + body + crc16(body)

    def _words(self) -> list[int]:
        high, low = float_words(self.dp_pa)
        whole = 0 if math.isnan(self.dp_pa) else round(self.dp_pa) & 0xFFFF
        return [high, low, low, high, whole, self.status, self.number >> 16, self.number & 0xFFFF]
