"""Every fault shows in the bytes: each test first looks at the line without it."""

from __future__ import annotations

import pytest

from simulators.dialects import DIALECTS, Channel
from simulators.faults import ENDLESS_BYTES, KINDS, NONSENSE
from simulators.instrument import LineInstrument
from simulators.virtual import VirtualBench

SECOND_NS = 1_000_000_000


def a_bench(streamed: bool = True) -> VirtualBench:
    name = "streamed-line" if streamed else "polled-line"
    bench = VirtualBench(
        "demo-filler", 2, mass_dialect=f"{name}-balance", pressure_dialect=f"{name}-pressure"
    )
    bench.rig.sieve_to_rig()
    bench.rig.put_weight(100.0)
    bench.rig.suction_on()
    heard(bench, "mass", 20.0)
    return bench


def heard(bench: VirtualBench, port: Channel, seconds: float) -> list[tuple[int, bytes]]:
    """What comes out of a port in the next seconds; polled instruments are asked five times a second."""
    out: list[tuple[int, bytes]] = []
    end_ns = bench.now_ns + round(seconds * SECOND_NS)
    while bench.now_ns < end_ns:
        request = bench.instrument_behind(port).request
        if request:
            bench.write(port, request, bench.now_ns)
        sent = bench.step_to(min(bench.now_ns + SECOND_NS // 5, end_ns))
        out += [(at_ns, data) for at_ns, where, data in sent if where == port]
    return out


def lines(bench: VirtualBench, port: Channel = "mass", seconds: float = 2.0) -> list[bytes]:
    joined = b"".join(data for _, data in heard(bench, port, seconds))
    instrument = bench.instrument_behind(port)
    assert isinstance(instrument, LineInstrument)
    return joined.split(instrument.dialect.terminator)[:-1]


def start(bench: VirtualBench, kind: str, port: Channel = "mass", seconds: float | None = None) -> None:
    bench.instruments[port].faults.start(kind, bench.now_ns, seconds)


def test_without_a_fault_ten_lines_a_second_come_in_order() -> None:
    bench = a_bench()
    counters = [int(line[-4:]) for line in lines(bench)]
    assert len(counters) == 20
    assert counters == list(range(counters[0], counters[0] + 20))


@pytest.mark.parametrize("streamed", [True, False])
def test_unit_change(streamed: bool) -> None:
    bench = a_bench(streamed)
    assert not any(b"kg" in line for line in lines(bench))
    start(bench, "unit-change")
    assert all(b"kg" in line for line in lines(bench))


def test_fewer_decimals() -> None:
    bench = a_bench()
    assert all(b"," in line[-12:-9] for line in lines(bench))
    start(bench, "fewer-decimals")
    assert all(line.split()[1].split(b",")[1].isdigit() for line in lines(bench))
    assert {len(line.split()[1].split(b",")[1]) for line in lines(bench)} == {1}


def test_unstable_and_its_end() -> None:
    bench = a_bench(streamed=False)
    assert all(line.startswith(b"S") for line in lines(bench))
    start(bench, "unstable", seconds=2.0)
    assert all(line.startswith(b"D") for line in lines(bench, seconds=1.9))
    assert all(line.startswith(b"S") for line in lines(bench)[1:])


@pytest.mark.parametrize(("kind", "mark"), [("overload", b"^^^^^^^^^"), ("underload", b"vvvvvvvvv")])
def test_load_marks(kind: str, mark: bytes) -> None:
    bench = a_bench(streamed=False)
    assert not any(mark in line for line in lines(bench))
    start(bench, kind)
    assert all(mark in line for line in lines(bench))


def test_inverted_pressure() -> None:
    bench = a_bench()
    assert all(line.startswith(b"dp=+2") for line in lines(bench, "pressure"))
    start(bench, "inverted", "pressure")
    assert all(line.startswith((b"dp=-2", b"dp=UNDER")) for line in lines(bench, "pressure"))


def test_nonsense_numbers() -> None:
    bench = a_bench()
    start(bench, "nonsense")
    texts = {line.decode()[3:13].strip() for line in lines(bench)}
    assert texts >= {text.replace(".", ",") for text in NONSENSE if text.isascii()}


def test_garbage() -> None:
    bench = a_bench(streamed=False)
    start(bench, "garbage")
    got = heard(bench, "mass", 2.0)
    assert all(data.endswith(b" g\r\n") and len(data) > 16 for _, data in got)


def test_wrong_baud() -> None:
    bench = a_bench()
    start(bench, "wrong-baud")
    got = heard(bench, "mass", 2.0)
    assert len(got) == 20
    assert all(byte >= 0x80 for _, data in got for byte in data)


def test_half_lines() -> None:
    bench = a_bench()
    start(bench, "half")
    got = heard(bench, "mass", 2.0)
    assert sum(data.endswith(b"\r") for _, data in got) == 10
    assert sum(len(data) == 10 for _, data in got) == 10


def test_pieces_join_to_whole_lines() -> None:
    bench = a_bench()
    start(bench, "pieces")
    got = heard(bench, "mass", 2.0)
    assert {len(data) for _, data in got} <= {1, 2, 3}
    whole = b"".join(data for _, data in got).split(b"\r")
    assert {len(line) for line in whole[:-1]} == {20}


@pytest.mark.parametrize("streamed", [True, False])
def test_silence_and_its_end(streamed: bool) -> None:
    bench = a_bench(streamed)
    assert lines(bench)
    start(bench, "silence", seconds=3.0)
    assert heard(bench, "mass", 2.9) == []
    heard(bench, "mass", 0.3)
    assert lines(bench)


def test_frozen() -> None:
    bench = a_bench()
    assert len(set(lines(bench))) == 20
    start(bench, "frozen")
    assert len(set(lines(bench))) == 1


def test_duplicate() -> None:
    bench = a_bench()
    start(bench, "duplicate")
    got = lines(bench)
    assert len(got) == 40
    assert got[::2] == got[1::2]


def test_burst() -> None:
    bench = a_bench()
    start(bench, "burst")
    got = heard(bench, "mass", 4.05)
    times = [at_ns for at_ns, _ in got]
    assert len(set(times)) == 2
    assert times.count(times[0]) >= 19
    assert times.count(times[-1]) >= 19
    counters = [int(data[-5:-1]) for _, data in got]
    assert counters == sorted(counters)


def test_endless_line() -> None:
    bench = a_bench()
    start(bench, "endless")
    got = heard(bench, "mass", 1.0)
    assert len(got[0][1]) == ENDLESS_BYTES
    assert b"\r" not in got[0][1]
    assert all(len(data) == 21 for _, data in got[1:])


@pytest.mark.parametrize("streamed", [True, False])
def test_flood(streamed: bool) -> None:
    bench = a_bench(streamed)
    start(bench, "flood", seconds=1.0)
    assert len(lines(bench, seconds=1.0)) == pytest.approx(2000, abs=10)
    assert len(lines(bench, seconds=2.0)) <= 21


def test_cable_out_and_in() -> None:
    bench = a_bench()
    bench.plugged["mass"] = False
    assert heard(bench, "mass", 2.0) == []
    bench.plugged["mass"] = True
    assert lines(bench)


def test_swapped_cables() -> None:
    bench = a_bench()
    bench.swapped = True
    assert all(data.startswith(b"dp=") for _, data in heard(bench, "mass", 1.0))
    assert all(data.startswith(b"g ") for _, data in heard(bench, "pressure", 1.0))


def test_tare_sag_leak_and_bump_show_on_the_wire() -> None:
    bench = a_bench(streamed=False)
    bench.rig.tare_pressed()
    assert float(lines(bench)[-1][3:12]) == pytest.approx(0.0, abs=0.01)
    bench.rig.bump(30.0)
    assert any(line.startswith(b"D") and float(line[3:12]) > 3 for line in lines(bench))
    before = float(lines(bench, "pressure")[-1][3:10])
    bench.rig.sag(0.5, 5.0)
    assert float(lines(bench, "pressure")[-1][3:10]) == pytest.approx(0.5 * before, rel=0.1)
    heard(bench, "pressure", 5.0)
    bench.rig.leak = 1.0
    heard(bench, "pressure", 2.0)
    assert abs(float(lines(bench, "pressure")[-1][3:10])) < 0.7 * abs(before)


def test_every_kind_has_a_sentence_and_can_be_stopped() -> None:
    bench = a_bench()
    faults = bench.instruments["mass"].faults
    for kind, text in KINDS.items():
        assert text
        faults.start(kind, bench.now_ns)
    assert set(faults.active(bench.now_ns)) == set(KINDS)
    faults.stop("silence")
    assert "silence" not in faults.active(bench.now_ns)
    faults.stop()
    bench.instruments["pressure"].faults.start("silence", bench.now_ns)
    heard(bench, "mass", 0.5)
    assert len(lines(bench)) == 20
    with pytest.raises(KeyError):
        faults.start("earthquake", 0)


def test_only_whole_requests_are_answered_and_soon() -> None:
    bench = a_bench(streamed=False)
    now_ns = bench.now_ns
    bench.write("mass", b"W", now_ns)
    bench.write("mass", b"\r\nQ\r\n", now_ns)
    got = bench.step_to(now_ns + SECOND_NS)
    assert len(got) == 1
    assert got[0][0] - now_ns < 0.1 * SECOND_NS
    assert DIALECTS["polled-line-balance"].terminator in got[0][2]
