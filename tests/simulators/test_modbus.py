from __future__ import annotations

import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.dialects import UnknownDialectError
from simulators.modbus import SERIAL_NUMBER, crc16, requests_in
from simulators.virtual import VirtualBench

SECOND_NS = 1_000_000_000


def frame(unit: int, function: int, first: int, second: int) -> bytes:
    body = struct.pack(">BBHH", unit, function, first, second)
    return body + crc16(body)


def a_bench(dp: bool = True) -> VirtualBench:
    bench = VirtualBench("demo-filler", 2, pressure_dialect="modbus-pressure", permit="modbus")
    if dp:
        bench.rig.set_permit(True)
        bench.rig.sieve_to_rig()
        bench.rig.suction_on()
    bench.step_to(20 * SECOND_NS)
    return bench


def ask(bench: VirtualBench, request: bytes, seconds: float = 0.1) -> bytes:
    bench.write("pressure", request, bench.now_ns)
    sent = bench.step_to(bench.now_ns + round(seconds * SECOND_NS))
    return b"".join(data for _, port, data in sent if port == "pressure")


def test_the_checksum_is_that_of_the_catalogue() -> None:
    """Check value of CRC-16/MODBUS over "123456789": 0x4B37 (catalogue of parametrised CRCs, from memory)."""
    assert crc16(b"123456789") == bytes([0x37, 0x4B])


def test_all_registers_tell_of_one_pressure() -> None:
    bench = a_bench()
    answer = ask(bench, frame(1, 4, 0, 8))
    assert answer[:3] == bytes([1, 4, 16])
    assert crc16(answer[:-2]) == answer[-2:]
    words = struct.unpack(">8H", answer[3:-2])
    (high_first,) = struct.unpack(">f", struct.pack(">HH", words[0], words[1]))
    (low_first,) = struct.unpack(">f", struct.pack(">HH", words[3], words[2]))
    (whole,) = struct.unpack(">h", struct.pack(">H", words[4]))
    assert high_first == low_first == pytest.approx(2500.0, rel=0.05)
    assert whole == round(high_first)
    assert words[5] == 4
    assert words[6] << 16 | words[7] == SERIAL_NUMBER


@pytest.mark.parametrize(
    ("request_bytes", "answer"),
    [
        (frame(1, 6, 0, 1), bytes([1, 0x86, 1])),
        (frame(1, 4, 7, 2), bytes([1, 0x84, 2])),
        (frame(1, 3, 0, 0), bytes([1, 0x83, 3])),
        (frame(1, 3, 0, 126), bytes([1, 0x83, 3])),
    ],
)
def test_what_cannot_be_answered_gets_its_error(request_bytes: bytes, answer: bytes) -> None:
    assert ask(a_bench(False), request_bytes) == answer + crc16(answer)


def test_another_unit_and_a_damaged_request_are_not_answered() -> None:
    bench = a_bench(False)
    assert ask(bench, frame(9, 4, 0, 2)) == b""
    damaged = bytearray(frame(1, 4, 0, 2))
    damaged[3] ^= 1
    assert ask(bench, bytes(damaged)) == b""
    assert len(ask(bench, frame(1, 4, 0, 2))) == 9


@given(
    st.lists(st.one_of(st.binary(max_size=12), st.just(frame(1, 4, 0, 2))), max_size=12),
    st.integers(1, 7),
)
@settings(deadline=None)
def test_any_cut_of_the_bytes_finds_the_same_requests(parts: list[bytes], size: int) -> None:
    stream = b"".join(parts)
    whole, _ = requests_in(stream)
    found: list[bytes] = []
    rest = b""
    for start in range(0, len(stream), size):
        more, rest = requests_in(rest + stream[start : start + size])
        found += more
        assert len(rest) < 8
    assert found == whole


def test_out_of_range_is_not_a_number_and_a_status() -> None:
    bench = a_bench()
    bench.instruments["pressure"].faults.start("overload", bench.now_ns)
    words = struct.unpack(">6H", ask(bench, frame(1, 3, 0, 6))[3:-2])
    assert words[0] == 0x7FC0
    assert words[4] == 32_767
    assert words[5] & 1


def test_faults_of_the_wire_show() -> None:
    bench = a_bench()
    whole = len(ask(bench, frame(1, 4, 0, 2)))
    faults = bench.instruments["pressure"].faults
    faults.start("silence", bench.now_ns)
    assert ask(bench, frame(1, 4, 0, 2)) == b""
    faults.stop()
    faults.start("garbage", bench.now_ns)
    assert len(ask(bench, frame(1, 4, 0, 2))) > whole
    faults.stop()
    faults.start("inverted", bench.now_ns)
    assert ask(bench, frame(1, 4, 4, 1))[3] >= 0x80


def test_a_mistyped_dialect_is_told_of_the_registers_too() -> None:
    with pytest.raises(UnknownDialectError, match="did you mean modbus-pressure"):
        VirtualBench("demo-filler", pressure_dialect="modbus-presure")
