"""Modbus RTU as a slave: frames, and a pressure transducer with a register map of our own invention.

Written from the open specification (MODBUS over serial line 1.02, MODBUS application protocol 1.1b3; from
memory), not with a library: whatever reads it is an independent peer. The same bytes go over a serial line
and, as RTU framing, over TCP.

Transducer, unit 1; functions 3 (holding) and 4 (input) read the same registers:

    0-1   differential pressure in Pa, suction positive, float32, high word first
    2-3   the same, low word first
    4     the same in thousandths of kPa, int16
    5     status: bit 0 above the range, bit 1 below the range, bit 2 steady
    6-7   serial number, uint32, high word first

Range -500 to 10000 Pa. Outside it the floats are not-a-number and register 4 is 32767 or -32768.

Relay, unit 2 (see relay.py): functions 1 (read) and 5 (write) on coil 0.

Another unit is not answered. Errors: 1 unknown function, 2 no such register, 3 a count or value that
cannot be meant.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Callable
from typing import Protocol

import numpy as np

from simulators.dialects import Shown
from simulators.faults import WireFaults
from simulators.instrument import ANSWER_NS, Outlet

ILLEGAL_FUNCTION = 1
ILLEGAL_ADDRESS = 2
ILLEGAL_VALUE = 3

REQUEST_BYTES = 8
"""Unit, function, two 16-bit words, checksum: all requests that are understood have this length."""

PENDING_BYTES = 256
SERIAL_NUMBER = 40_217
LOW_PA = -500.0
HIGH_PA = 10_000.0


class ModbusError(Exception):
    """A request that is answered with an exception code."""

    def __init__(self, code: int) -> None:
        super().__init__(f"Modbus exception {code}")
        self.code = code


class Device(Protocol):
    """One unit on the line."""

    unit: int

    def answer(self, function: int, first: int, second: int, at_ns: int) -> bytes:
        """Body of the answer after the function code. Raises ModbusError."""
        ...


def crc16(data: bytes) -> bytes:
    """Checksum of a frame, low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return struct.pack("<H", crc)


def requests_in(pending: bytes) -> tuple[list[bytes], bytes]:
    """Whole, undamaged requests without their checksum, and what may be the start of another."""
    found: list[bytes] = []
    start = 0
    while len(pending) - start >= REQUEST_BYTES:
        frame = pending[start : start + REQUEST_BYTES]
        if crc16(frame[:-2]) == frame[-2:]:
            found.append(frame[:-2])
            start += REQUEST_BYTES
        else:
            start += 1
    return found, pending[start:][-PENDING_BYTES:]


class RtuInstrument:
    """Units on one Modbus line, behind one port."""

    request = None

    def __init__(self, devices: tuple[Device, ...], rng: np.random.Generator) -> None:
        self.faults = WireFaults(None, None, rng)
        self._devices = {device.unit: device for device in devices}
        self._pending = b""
        self._asked: list[tuple[int, bytes]] = []
        self._outlet = Outlet()

    def receive(self, data: bytes, at_ns: int) -> None:
        """Bytes from the master; each whole request is answered a little later."""
        requests, self._pending = requests_in(self._pending + data)
        self._asked += [(at_ns + ANSWER_NS, request) for request in requests]

    def next_ns(self, now_ns: int) -> int:
        """When `fire` has something to do next."""
        due_ns = self._outlet.next_ns
        return min(self._asked[0][0], due_ns) if self._asked else due_ns

    def fire(self, at_ns: int) -> list[bytes]:
        """Everything that goes on the wire at this time."""
        while self._asked and self._asked[0][0] <= at_ns:
            answer = self._answer(self._asked.pop(0)[1], at_ns)
            if answer:
                self._outlet.put(self.faults.shape(answer, at_ns))
        return self._outlet.take(at_ns)

    def _answer(self, request: bytes, at_ns: int) -> bytes:
        unit, function, first, second = struct.unpack(">BBHH", request)
        device = self._devices.get(unit)
        if device is None:
            return b""
        try:
            body = bytes([unit, function]) + device.answer(function, first, second, at_ns)
        except ModbusError as problem:
            body = bytes([unit, function | 0x80, problem.code])
        return body + crc16(body)


class TransducerUnit:
    """The pressure transducer as registers; `look` gives suction in Pa."""

    unit = 1

    def __init__(self, look: Callable[[int], Shown]) -> None:
        self._look = look

    def answer(self, function: int, first: int, second: int, at_ns: int) -> bytes:
        """Registers `first` to `first + second`, as bytes with their count before them."""
        if function not in (3, 4):
            raise ModbusError(ILLEGAL_FUNCTION)
        if not 1 <= second <= 125:
            raise ModbusError(ILLEGAL_VALUE)
        registers = self._registers(at_ns)
        if first + second > len(registers):
            raise ModbusError(ILLEGAL_ADDRESS)
        body = struct.pack(f">{second}H", *registers[first : first + second])
        return bytes([len(body)]) + body

    def _registers(self, at_ns: int) -> list[int]:
        shown = self._look(at_ns)
        above = shown.state == "overload" or shown.value > HIGH_PA
        below = shown.state == "underload" or shown.value < LOW_PA
        value = math.nan if above or below else shown.value
        high, low = struct.unpack(">HH", struct.pack(">f", value))
        whole = 32_767 if above else -32_768 if below else round(shown.value)
        status = above | below << 1 | shown.stable << 2
        return [high, low, low, high, whole & 0xFFFF, status, SERIAL_NUMBER >> 16, SERIAL_NUMBER & 0xFFFF]
