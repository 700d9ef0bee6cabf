"""A Modbus instrument on its port: a pseudo-terminal and TCP, in real time but with short waits."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace

import pytest

from drivers.backoff import BackOffPolicy
from drivers.instrument import LineInstrument, LinkTiming
from drivers.link_watch import LinkEvent
from drivers.modbus_instrument import ModbusInstrument, frame_gap_s
from drivers.modbus_profile import ModbusProfile
from drivers.profile import LineProfile, SerialSettings
from drivers.reading import Quality, Reading
from tests.drivers.dialects import shipped as shipped_lines
from tests.drivers.modbus_slave import Slave
from tests.drivers.peers import Peer, PtyPeer, TcpPeer, run_async, until
from tests.drivers.test_modbus_codec import FLOAT, SCALED

FAST = LinkTiming(
    look_s=0.02,
    answer_s=0.1,
    reopen_s=1.0,
    tick_s=0.02,
    back_off=BackOffPolicy(first_s=0.02, most_s=0.05, per_minute=1000, good_s=0.2),
)
PROFILE = replace(FLOAT, silence_s=0.25, period_s=0.02)


class Bench:
    """One instrument and what it reported."""

    def __init__(
        self,
        port: str,
        profile: ModbusProfile = PROFILE,
        *,
        timing: LinkTiming = FAST,
        others: Sequence[LineProfile] = (),
        identity: str = "",
        on_readings: Callable[[Sequence[Reading]], None] | None = None,
    ) -> None:
        self.readings: list[Reading] = []
        self.events: list[LinkEvent] = []
        self.subject = ModbusInstrument(
            profile,
            port,
            now_ns=time.monotonic_ns,
            on_readings=on_readings or self.readings.extend,
            on_link=self.events.append,
            timing=timing,
            others=others,
            identity=identity,
        )

    @property
    def states(self) -> list[str]:
        return [event.state for event in self.events]


Body = Callable[[Bench, Slave], Awaitable[None]]


def play(peer: Peer, body: Body, bench_of: Callable[[str], Bench] = Bench) -> None:
    """Runs an instrument against a slave while the body plays; both end cleanly."""

    async def whole() -> None:
        await peer.plug()
        slave = Slave()
        peer.answer_with(slave)
        bench = bench_of(peer.port)
        running = asyncio.create_task(bench.subject.run())
        try:
            await body(bench, slave)
            assert not running.done()
        finally:
            running.cancel()
            await asyncio.wait([running])
            await peer.unplug()
        assert running.cancelled()

    run_async(whole())


def test_readings_and_the_link_are_reported(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: len(bench.readings) >= 20)
        assert bench.states == ["up"]
        assert bench.events[0].text == f'"{PROFILE.title}" answers at {peer.port}, serial number 40217.'
        assert {(r.value, r.unit, r.quality, r.stable) for r in bench.readings} == {
            (2512.5, "Pa", Quality.OK, True)
        }
        times = [r.at_ns for r in bench.readings]
        assert times == sorted(set(times))
        assert set(slave.asked) == {(4, 6, 2), (4, 0, 6)}

    play(peer, body)


def test_a_status_that_stands_apart_is_asked_apart(peer: Peer) -> None:
    assert FLOAT.status is not None
    apart = replace(PROFILE, status=replace(FLOAT.status, with_value=False))

    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: len(bench.readings) >= 5)
        assert {(r.value, r.stable) for r in bench.readings} == {(2512.5, True)}
        assert set(slave.asked) == {(4, 6, 2), (4, 0, 2), (4, 5, 1)}
        slave.status = 1
        await until(lambda: bench.readings[-1].quality is Quality.OVERLOAD)

    play(peer, body, lambda port: Bench(port, apart))


def test_the_scaled_register_is_read_too(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: len(bench.readings) >= 3)
        assert {r.value for r in bench.readings} == {2512.0}
        assert set(slave.asked) == {(3, 6, 2), (3, 4, 1)}

    play(peer, body, lambda port: Bench(port, replace(SCALED, silence_s=0.25, period_s=0.02)))


def test_noise_before_an_answer_costs_nothing(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        slave.before = b"\x00\x01\x04\xff"
        await until(lambda: len(bench.readings) >= 10)
        assert bench.subject.unanswered == 0

    play(peer, body)


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (1, 'it does not know input registers (exception 1): try register = "holding" in the profile.'),
        (
            2,
            "it has no input register 6 to 7 (exception 2): check the address in the profile, it counts from 0.",
        ),
        (3, "it does not give 2 registers at once (exception 3): check type and address in the profile."),
        (4, "it reports a failure of its own (exception 4): switch it off and on, then have it checked."),
        (77, "it refuses with exception 77: look it up in its manual."),
    ],
)
def test_an_exception_becomes_a_rejected_reading_and_a_sentence(peer: Peer, code: int, words: str) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: bench.states == ["up"])
        slave.exception = code
        await until(lambda: bench.states == ["up", "silent"])
        if code != 2:  # the identity is asked again after a failure, so the register named may be either
            assert bench.events[1].text.endswith(words)
        assert bench.events[1].text.startswith(f"the instrument at {peer.port} answers, but it ")
        assert (bench.readings[-1].quality, bench.readings[-1].raw) == (Quality.REJECTED, f"exception {code}")
        slave.exception = 0
        await until(lambda: bench.states == ["up", "silent", "up"])

    play(peer, body)


def test_one_exception_alone_is_no_news(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: len(bench.readings) >= 3)
        slave.exception = 6
        await until(lambda: bench.readings[-1].quality is Quality.REJECTED)
        slave.exception = 0
        await asyncio.sleep(0.4)
        assert bench.states == ["up"]

    play(peer, body)


def test_silence_is_told_and_the_end_of_it(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: bench.states == ["up"])
        slave.silent = True
        await until(lambda: bench.states == ["up", "silent"], within_s=0.5)
        assert bench.events[1].text.startswith(f"no answer at {peer.port} for 0.25 s: ")
        assert "unit 1" in bench.events[1].text
        slave.silent = False
        await until(lambda: bench.states == ["up", "silent", "up"])

    play(peer, body)


def test_a_fault_bit_that_stays_is_told(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: bench.states == ["up"])
        slave.status = 0x0200
        await until(lambda: bench.states == ["up", "silent"])
        assert bench.events[1].text.endswith("it reports a fault of its own (status bit 9).")

    play(peer, body)


def test_overload_is_a_reading_and_no_fault_of_the_link(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        slave.dp_pa, slave.status = float("nan"), 1
        await until(lambda: len(bench.readings) >= 10)
        assert {r.quality for r in bench.readings} == {Quality.OVERLOAD}
        assert bench.states == ["up"]

    play(peer, body)


def test_an_unplug_is_seen_within_a_second_and_the_link_comes_back(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        for count in (1, 2):
            await until(lambda: bench.states == ["up", "lost"] * (count - 1) + ["up"])  # noqa: B023
            start = time.monotonic()
            await peer.unplug()
            await until(lambda: bench.states == ["up", "lost"] * count, within_s=1.0)  # noqa: B023
            assert time.monotonic() - start < 1.0
            await asyncio.sleep(0.1)
            await peer.plug()
        assert "was lost (" in bench.events[-1].text

    play(peer, body)


def test_an_unplug_is_seen_at_once_while_nothing_answers(pty_peer: PtyPeer) -> None:
    """With the time-outs of a real bench: the end of the link does not wait for the answer."""

    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: bench.states == ["up"])
        slave.silent = True
        await asyncio.sleep(0.3)
        start = time.monotonic()
        await pty_peer.unplug()
        await until(lambda: bench.states == ["up", "lost"], within_s=1.0)
        assert time.monotonic() - start < 0.5

    play(pty_peer, body, lambda port: Bench(port, timing=LinkTiming()))


def test_a_port_that_is_absent_at_the_start_is_said_once_and_found_later(pty_peer: PtyPeer) -> None:
    async def whole() -> None:
        bench = Bench(pty_peer.port)
        pty_peer.answer_with(Slave())
        running = asyncio.create_task(bench.subject.run())
        await asyncio.sleep(0.2)
        assert bench.states == ["absent"]
        assert bench.events[0].text.startswith(f"port {pty_peer.port} is not there: ")
        await pty_peer.plug()
        await until(lambda: bench.states == ["absent", "up"])
        running.cancel()
        await asyncio.wait([running])
        await pty_peer.unplug()

    run_async(whole())


def test_a_long_silence_opens_the_port_again(nothing_left_open: None) -> None:
    peer = TcpPeer()

    async def body(bench: Bench, slave: Slave) -> None:
        slave.silent = True
        await until(lambda: len(peer.connections) >= 2)
        slave.silent = False
        await until(lambda: bench.states[-1:] == ["up"])

    play(peer, body)


def test_the_serial_number_of_the_bench_file_is_checked(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: bench.states == ["wrong-instrument"])
        assert "has the serial number 40217, the bench file names 40218" in bench.events[0].text
        await asyncio.sleep(0.2)
        assert bench.readings == []
        slave.number = 40_218
        await until(lambda: bench.states == ["wrong-instrument", "up"])

    play(peer, body, lambda port: Bench(port, identity="40218"))


def test_an_instrument_exchanged_behind_the_adapter_is_noticed(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: bench.states == ["up"])
        slave.silent = True
        await asyncio.sleep(0.15)
        slave.number, slave.silent = 7, False
        await until(lambda: bench.states == ["up", "wrong-instrument"])
        count = len(bench.readings)
        await asyncio.sleep(0.2)
        assert len(bench.readings) == count

    play(peer, body, lambda port: Bench(port, identity="40217"))


def test_swapped_ports_are_noticed(peer: Peer) -> None:
    """The balance that streams lines is plugged in where the transducer should be."""

    async def body(bench: Bench, slave: Slave) -> None:
        slave.silent = True
        end = time.monotonic() + 5.0
        while not bench.events:
            assert time.monotonic() < end
            await peer.write(b"g      412,36 = 0417\r")
            await asyncio.sleep(0.005)
        assert bench.states == ["wrong-instrument"]
        assert "the ports may be swapped" in bench.events[0].text

    play(peer, body, lambda port: Bench(port, others=[shipped_lines("streamed-line-balance")]))


def test_garbage_instead_of_answers_is_told_apart_from_silence(peer: Peer) -> None:
    async def body(bench: Bench, slave: Slave) -> None:
        slave.silent = True
        end = time.monotonic() + 5.0
        while not bench.events:
            assert time.monotonic() < end
            await peer.write(b"\xe4\x01\x04\x04\xf0\xbd")
            await asyncio.sleep(0.01)
        assert bench.states == ["silent"]
        assert "only unreadable bytes" in bench.events[0].text

    play(peer, body)


def test_two_users_of_one_port_the_second_is_told(pty_peer: PtyPeer) -> None:
    """Between a register map and a line profile too: both go through the same lock."""

    async def body(bench: Bench, slave: Slave) -> None:
        await until(lambda: bench.states == ["up"])
        told: list[LinkEvent] = []
        second = LineInstrument(
            shipped_lines("streamed-line-pressure"),
            str(pty_peer.link.resolve()),
            now_ns=time.monotonic_ns,
            on_readings=lambda readings: None,
            on_link=told.append,
            timing=FAST,
        )
        running = asyncio.create_task(second.run())
        await until(lambda: told)
        running.cancel()
        await asyncio.wait([running])
        assert "is already used by this program itself" in told[0].text

    play(pty_peer, body)


def test_what_the_callback_raises_ends_the_run_and_frees_the_port(peer: Peer) -> None:
    def fail(readings: Sequence[Reading]) -> None:
        raise ZeroDivisionError("a bug elsewhere")

    async def whole() -> None:
        await peer.plug()
        peer.answer_with(Slave())
        with pytest.raises(ZeroDivisionError):
            await asyncio.wait_for(Bench(peer.port, on_readings=fail).subject.run(), 5)
        await peer.unplug()

    run_async(whole())


def test_an_instrument_can_be_cancelled_at_any_moment(peer: Peer) -> None:
    async def whole() -> None:
        await peer.plug()
        peer.answer_with(Slave())
        for wait_s in (0.0, 0.0001, 0.001, 0.005, 0.02, 0.05):
            running = asyncio.create_task(Bench(peer.port).subject.run())
            await asyncio.sleep(wait_s)
            running.cancel()
            await asyncio.wait([running])
            assert running.cancelled()
        await peer.unplug()

    run_async(whole())


@pytest.mark.parametrize("fault", ["unplugged", "silent"])
def test_a_fault_that_lasts_costs_no_processor_time(pty_peer: PtyPeer, fault: str) -> None:
    async def whole() -> None:
        await pty_peer.plug()
        slave = Slave(silent=fault == "silent")
        pty_peer.answer_with(slave)
        bench = Bench(pty_peer.port, FLOAT, timing=LinkTiming())
        running = asyncio.create_task(bench.subject.run())
        await asyncio.sleep(0.3)
        if fault == "unplugged":
            await pty_peer.unplug()
            await asyncio.sleep(0.1)
        start, began = time.process_time(), time.monotonic()
        await asyncio.sleep(1.5)
        share = (time.process_time() - start) / (time.monotonic() - began)
        running.cancel()
        await asyncio.wait([running])
        await pty_peer.unplug()
        assert share < 0.05

    run_async(whole())


def test_a_pseudo_terminal_with_parity_can_be_opened_again(pty_peer: PtyPeer) -> None:
    """The virtual rig after a restart of the service: the same device, which was never unplugged."""
    assert FLOAT.serial.parity == "even"

    async def whole() -> None:
        await pty_peer.plug()
        pty_peer.answer_with(Slave())
        for _ in range(3):
            bench = Bench(pty_peer.port)
            running = asyncio.create_task(bench.subject.run())
            await until(lambda: bench.states == ["up"])  # noqa: B023
            running.cancel()
            await asyncio.wait([running])
        await pty_peer.unplug()

    run_async(whole())


@pytest.mark.parametrize(("baud", "gap_ms"), [(9600, 4.01), (19_200, 2.01), (115_200, 1.75)])
def test_a_request_keeps_its_distance_from_the_answer_before(baud: int, gap_ms: float) -> None:
    """3.5 characters of 11 bits, at least 1.75 ms (MODBUS over serial line 1.02, from memory)."""
    assert frame_gap_s(SerialSettings(baud=baud)) * 1000 == pytest.approx(gap_ms, abs=0.005)
