from __future__ import annotations

import struct

import pytest

from simulators.modbus import crc16
from simulators.virtual import PermitKind, VirtualBench

SECOND_NS = 1_000_000_000


def frame(function: int, second: int) -> bytes:
    body = struct.pack(">BBHH", 2, function, 0, second)
    return body + crc16(body)


HEARTBEAT = {"line": b"K1\r\n", "modbus": frame(5, 0xFF00)}
DROP = {"line": b"K0\r\n", "modbus": frame(5, 0)}


class Permit:
    """A bench with a relay, and somebody who talks to it."""

    def __init__(self, kind: PermitKind) -> None:
        self.bench = VirtualBench("demo-filler", permit=kind)
        self.bench.rig.sieve_to_rig()
        self.kind = kind

    def says(self, data: bytes, seconds: float = 0.1) -> bytes:
        self.bench.write("permit", data, self.bench.now_ns)
        sent = self.bench.step_to(self.bench.now_ns + round(seconds * SECOND_NS))
        return b"".join(data for _, port, data in sent if port == "permit")

    def sucks(self) -> bool:
        return self.bench.rig.suction_is_on


@pytest.fixture(params=["line", "modbus"])
def permit(request: pytest.FixtureRequest) -> Permit:
    return Permit(request.param)


def test_without_a_permit_the_switch_does_nothing(permit: Permit) -> None:
    permit.bench.rig.suction_on()
    assert not permit.sucks()


def test_a_heartbeat_permits_but_never_starts(permit: Permit) -> None:
    assert permit.says(HEARTBEAT[permit.kind])
    assert not permit.sucks()
    permit.bench.rig.suction_on()
    assert permit.sucks()


def test_five_seconds_without_a_heartbeat_stop_the_suction_for_good(permit: Permit) -> None:
    permit.says(HEARTBEAT[permit.kind])
    permit.bench.rig.suction_on()
    for _ in range(10):
        permit.says(HEARTBEAT[permit.kind], 1.0)
        assert permit.sucks()
    permit.says(b"", 3.9)
    assert permit.sucks()
    permit.says(b"", 0.3)
    assert not permit.sucks()
    permit.says(HEARTBEAT[permit.kind], 1.0)
    assert not permit.sucks()


def test_withdrawing_stops_at_once(permit: Permit) -> None:
    permit.says(HEARTBEAT[permit.kind])
    permit.bench.rig.suction_on()
    permit.says(DROP[permit.kind])
    assert not permit.sucks()


def test_a_pulled_cable_stops_the_suction_within_five_seconds(permit: Permit) -> None:
    permit.says(HEARTBEAT[permit.kind])
    permit.bench.rig.suction_on()
    permit.bench.plugged["permit"] = False
    for _ in range(6):
        assert permit.says(HEARTBEAT[permit.kind], 1.0) == b""
    assert not permit.sucks()


def test_lines_are_answered_with_the_state_and_others_are_not() -> None:
    permit = Permit("line")
    assert permit.says(b"K?\r\n") == b"K0\r\n"
    assert permit.says(b"K1\r\n") == b"K1\r\n"
    assert permit.says(b"K?\r\nK0\r\n") == b"K1\r\nK0\r\n"
    assert permit.says(b"K1\nk1\r\nK2\r\n") == b""
    assert permit.says(b"K") == b""
    assert permit.says(b"?\r\n") == b"K0\r\n"


def test_the_coil_can_be_read_and_refuses_what_cannot_be_meant() -> None:
    permit = Permit("modbus")
    assert permit.says(frame(1, 1))[:4] == bytes([2, 1, 1, 0])
    permit.says(HEARTBEAT["modbus"])
    assert permit.says(frame(1, 1))[:4] == bytes([2, 1, 1, 1])
    assert permit.says(frame(5, 1))[:3] == bytes([2, 0x85, 3])
    assert permit.says(frame(1, 9))[:3] == bytes([2, 0x81, 2])
    assert permit.says(frame(3, 1))[:3] == bytes([2, 0x83, 1])
    body = struct.pack(">BBHH", 2, 5, 1, 0xFF00)
    assert permit.says(body + crc16(body))[:3] == bytes([2, 0x85, 2])


def test_a_rig_without_a_relay_needs_no_permit() -> None:
    bench = VirtualBench("demo-filler")
    assert "permit" not in bench.instruments
    bench.rig.suction_on()
    bench.step_to(60 * SECOND_NS)
    assert bench.rig.suction_is_on
