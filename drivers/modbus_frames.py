"""Modbus RTU frames by pymodbus: requests to bytes, bytes to answers. No port, no clock.

pymodbus takes a moment to load and is needed by Modbus benches only, so it is loaded when the first
`RtuFrames` is made. Its own clients are not used: they would open the port a second way, without the lock,
the arrival stamps and the reconnecting that every instrument here shares. An exception response is an
answer like any other (`isError()` is true); it is never raised.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from drivers.modbus_profile import RegisterKind, Span

WRITE_COIL: Final = 5
EXCEPTION_BYTES: Final = 5
"""Unit, function, code or count, checksum; registers add two bytes each."""
COIL_BYTES: Final = 8
_ERROR: Final = 0x80


@dataclass(frozen=True, slots=True)
class Request:
    """One request on its way, and what its answer must look like."""

    unit_id: int
    function: int
    count: int
    frame: bytes


@dataclass(frozen=True, slots=True)
class Answer:
    """Registers or bits, or the exception code when the instrument refused (None when it did not)."""

    registers: tuple[int, ...] = ()
    bits: tuple[bool, ...] = ()
    exception: int | None = None


def _length(request: Request, function: int) -> float:
    """How long the answer is that begins with this function code; infinite when none does."""
    if function == request.function | _ERROR:
        return EXCEPTION_BYTES
    if function != request.function:
        return math.inf
    return COIL_BYTES if function == WRITE_COIL else EXCEPTION_BYTES + 2 * request.count


class RtuFrames:
    """Builds requests and finds their answers."""

    def __init__(self) -> None:
        from pymodbus.exceptions import ModbusException
        from pymodbus.framer import FramerRTU
        from pymodbus.pdu import DecodePDU, bit_message, register_message

        self._framer = FramerRTU(DecodePDU(is_server=False))
        self._pdus, self._coils = register_message, bit_message
        self._errors = (ModbusException, NotImplementedError, ValueError, IndexError)

    def read_registers(self, unit_id: int, span: Span) -> Request:
        """Asks for a span of registers."""
        holding = span.kind is RegisterKind.HOLDING
        kind = self._pdus.ReadHoldingRegistersRequest if holding else self._pdus.ReadInputRegistersRequest
        pdu = kind(dev_id=unit_id, address=span.address, count=span.count)
        return Request(unit_id, span.kind.function, span.count, self._framer.buildFrame(pdu))

    def write_coil(self, unit_id: int, address: int, on: bool) -> Request:
        """Sets one coil; the answer repeats what was set."""
        pdu = self._coils.WriteSingleCoilRequest(address=address, bits=[on], dev_id=unit_id)
        return Request(unit_id, WRITE_COIL, 1, self._framer.buildFrame(pdu))

    def answer(self, request: Request, heard: bytes) -> Answer | None:
        """The answer to `request` in what was heard, None while there is none.

        Noise before it and an echo of the request (two-wire adapters) are passed over: a frame counts only
        with the right unit, function, length and checksum.
        """
        for start in range(len(heard) - EXCEPTION_BYTES + 1):
            if heard[start] == request.unit_id and len(heard) - start >= _length(request, heard[start + 1]):
                found = self._decode(request, heard[start:])
                if found is not None:
                    return found
        return None

    def _decode(self, request: Request, data: bytes) -> Answer | None:
        try:
            _, pdu = self._framer.handleFrame(data, request.unit_id, 0)
        except self._errors:
            return None
        if pdu is None:
            return None
        if pdu.isError():
            return Answer(exception=pdu.exception_code)
        if request.function == WRITE_COIL:
            return Answer(bits=tuple(pdu.bits[:1]))
        return Answer(registers=tuple(pdu.registers)) if len(pdu.registers) == request.count else None
