"""The external relay of the permit: it lets the suction run only while somebody keeps telling it so.

It drops out when no heartbeat came for `hold_ns`, and on a command. It never starts anything: after a drop
the suction stays off until a hand switches it on again. It can be told by lines or by a Modbus coil.

Lines, each with carriage return and line feed; every one is answered with the state the relay is in then:

    K1    heartbeat: stay in (or pull in)         answered K1
    K0    drop out now                            answered K0
    K?    how do you stand?                       answered K1 or K0

Modbus, unit 2: writing coil 0 on is the heartbeat, off drops out, reading tells the state.
"""

from __future__ import annotations

import struct
from collections.abc import Callable

import numpy as np

from simulators.faults import WireFaults
from simulators.instrument import ANSWER_NS, NEVER_NS, Outlet
from simulators.modbus import ILLEGAL_ADDRESS, ILLEGAL_FUNCTION, ILLEGAL_VALUE, ModbusError

HOLD_S = 5.0
"""Time without a heartbeat after which the relay drops out."""

ON = 0xFF00
PENDING_BYTES = 64


class Relay:
    """The relay itself. `moved` is told True when it pulls in and False when it drops out."""

    def __init__(self, hold_ns: int, moved: Callable[[bool], None]) -> None:
        self.is_in = False
        self._hold_ns = hold_ns
        self._drops_ns = NEVER_NS
        self._moved = moved

    @property
    def next_ns(self) -> int:
        """When it drops out unless a heartbeat comes."""
        return self._drops_ns

    def heartbeat(self, at_ns: int) -> None:
        """Stays in, or pulls in, until `hold_ns` after this."""
        self._drops_ns = at_ns + self._hold_ns
        self._move(True)

    def drop(self) -> None:
        """Drops out."""
        self._drops_ns = NEVER_NS
        self._move(False)

    def update(self, at_ns: int) -> None:
        """Drops out when its time has come."""
        if at_ns >= self._drops_ns:
            self.drop()

    def _move(self, is_in: bool) -> None:
        if is_in != self.is_in:
            self.is_in = is_in
            self._moved(is_in)


class RelayUnit:
    """The relay as a unit on a Modbus line."""

    unit = 2

    def __init__(self, relay: Relay) -> None:
        self._relay = relay

    def answer(self, function: int, first: int, second: int, at_ns: int) -> bytes:
        """Coil 0, read (function 1) or written (function 5)."""
        if function not in (1, 5):
            raise ModbusError(ILLEGAL_FUNCTION)
        if first != 0:
            raise ModbusError(ILLEGAL_ADDRESS)
        if function == 1:
            return self._read(second)
        return self._write(second, at_ns)

    def _read(self, count: int) -> bytes:
        if count != 1:
            raise ModbusError(ILLEGAL_ADDRESS if count else ILLEGAL_VALUE)
        return bytes([1, self._relay.is_in])

    def _write(self, value: int, at_ns: int) -> bytes:
        if value not in (0, ON):
            raise ModbusError(ILLEGAL_VALUE)
        if value == ON:
            self._relay.heartbeat(at_ns)
        else:
            self._relay.drop()
        return struct.pack(">HH", 0, value)


class RelayLine:
    """The relay told by lines."""

    request = None

    def __init__(self, relay: Relay, rng: np.random.Generator) -> None:
        self.faults = WireFaults(None, None, rng)
        self._relay = relay
        self._pending = b""
        self._asked: list[tuple[int, bytes]] = []
        self._outlet = Outlet()

    def receive(self, data: bytes, at_ns: int) -> None:
        """Bytes from the other side; each known line is carried out and answered a little later."""
        *lines, rest = (self._pending + data).split(b"\n")
        self._pending = rest[-PENDING_BYTES:]
        self._asked += [(at_ns + ANSWER_NS, line) for line in lines if line in (b"K1\r", b"K0\r", b"K?\r")]

    def next_ns(self, now_ns: int) -> int:
        """When `fire` has something to do next."""
        due_ns = self._outlet.next_ns
        return min(self._asked[0][0], due_ns) if self._asked else due_ns

    def fire(self, at_ns: int) -> list[bytes]:
        """Carries out what is due, and everything that goes on the wire at this time."""
        while self._asked and self._asked[0][0] <= at_ns:
            self._carry_out(self._asked.pop(0)[1], at_ns)
        return self._outlet.take(at_ns)

    def _carry_out(self, line: bytes, at_ns: int) -> None:
        if line == b"K1\r":
            self._relay.heartbeat(at_ns)
        elif line == b"K0\r":
            self._relay.drop()
        answer = b"K1\r\n" if self._relay.is_in else b"K0\r\n"
        self._outlet.put(self.faults.shape(answer, at_ns))
