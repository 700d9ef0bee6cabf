"""An instrument on its port: a pseudo-terminal and TCP, in real time but with short waits."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from drivers.backoff import BackOffPolicy
from drivers.instrument import LineInstrument, LinkTiming
from drivers.link_watch import LinkEvent
from drivers.profile import LineProfile
from drivers.reading import Quality, Reading
from tests.drivers.dialects import shipped
from tests.drivers.peers import Peer, PtyPeer, TcpPeer, run_async, until

FAST = LinkTiming(
    look_s=0.02,
    answer_s=0.1,
    garbage_s=0.4,
    reopen_s=1.0,
    tick_s=0.02,
    back_off=BackOffPolicy(first_s=0.02, most_s=0.05, per_minute=1000, good_s=0.2),
)
POLLED = replace(shipped("polled-line-balance"), silence_s=0.25, period_s=0.02)
STREAMED = replace(shipped("streamed-line-pressure"), silence_s=0.25, period_s=0.02)
ANSWER = b"S +  412.356 g\r\n"
LINE = b"dp=+2512.3 Pa;ok\n"


class Bench:
    """One instrument and what it reported."""

    def __init__(
        self,
        profile: LineProfile,
        port: str,
        *,
        timing: LinkTiming = FAST,
        others: Sequence[LineProfile] = (),
        on_readings: Callable[[Sequence[Reading]], None] | None = None,
    ) -> None:
        self.readings: list[Reading] = []
        self.events: list[LinkEvent] = []
        self.subject = LineInstrument(
            profile,
            port,
            now_ns=time.monotonic_ns,
            on_readings=on_readings or self.readings.extend,
            on_link=self.events.append,
            timing=timing,
            others=others,
        )

    @property
    def states(self) -> list[str]:
        return [event.state for event in self.events]


def play(peer: Peer, bench_of: Callable[[Peer], Bench], body: Callable[[Bench], Awaitable[None]]) -> None:
    """Runs an instrument against the peer while the body plays; both end cleanly."""

    async def whole() -> None:
        await peer.plug()
        bench = bench_of(peer)
        running = asyncio.create_task(bench.subject.run())
        try:
            await body(bench)
            assert not running.done()
        finally:
            running.cancel()
            await asyncio.wait([running])
            await peer.unplug()
        assert running.cancelled()

    run_async(whole())


def polled(peer: Peer) -> Bench:
    return Bench(POLLED, peer.port)


def streamed(peer: Peer) -> Bench:
    return Bench(STREAMED, peer.port)


def test_a_polled_exchange_sends_only_the_request(peer: Peer) -> None:
    peer.answer_with(lambda data: ANSWER * data.count(b"W\r\n"))

    async def body(bench: Bench) -> None:
        await until(lambda: len(bench.readings) >= 20)

    play(peer, polled, body)

    asked = peer.received.count(b"W\r\n")
    assert bytes(peer.received) == b"W\r\n" * asked
    assert asked >= 21  # the first answer only brings the codec in step


def test_readings_and_the_link_are_reported(peer: Peer) -> None:
    peer.answer_with(lambda data: ANSWER * data.count(b"W\r\n"))
    seen: list[Bench] = []

    async def body(bench: Bench) -> None:
        seen.append(bench)
        await until(lambda: len(bench.readings) >= 5)

    play(peer, polled, body)

    (bench,) = seen
    assert bench.states == ["up"]
    assert bench.events[0].text == f'"{POLLED.title}" answers at {peer.port}.'
    assert {(r.value, r.unit, r.quality, r.stable) for r in bench.readings} == {
        (412.356, "g", Quality.OK, True)
    }
    times = [r.at_ns for r in bench.readings]
    assert times == sorted(times)


def test_a_request_without_an_answer_is_repeated_and_told(peer: Peer) -> None:
    async def body(bench: Bench) -> None:
        await until(lambda: bench.states == ["silent"])
        assert bench.subject.unanswered >= 2
        peer.answer_with(lambda data: ANSWER * data.count(b"W\r\n"))
        await until(lambda: bench.states == ["silent", "up"])

    play(peer, polled, body)


def test_the_speed_of_the_bench_clock_shortens_the_period(peer: Peer) -> None:
    peer.answer_with(lambda data: ANSWER * data.count(b"W\r\n"))
    slow = replace(POLLED, period_s=6.0)

    async def whole() -> None:
        await peer.plug()
        readings: list[Reading] = []
        subject = LineInstrument(
            slow, peer.port, now_ns=time.monotonic_ns, on_readings=readings.extend, on_link=print, speed=300
        )
        running = asyncio.create_task(subject.run())
        await until(lambda: len(readings) >= 5, within_s=5.0)
        running.cancel()
        await asyncio.wait([running])
        await peer.unplug()

    run_async(whole())


def test_half_a_line_at_the_start_and_lines_in_pieces(peer: Peer) -> None:
    async def body(bench: Bench) -> None:
        await asyncio.sleep(0.1)
        for size in (1, 3):
            stream = b"9.9 Pa;ok\n" + LINE * 3 if size == 1 else LINE * 3
            for at in range(0, len(stream), size):
                await peer.write(stream[at : at + size])
                await asyncio.sleep(0.001)
        await until(lambda: len(bench.readings) == 6)
        assert {reading.value for reading in bench.readings} == {2512.3}

    play(peer, streamed, body)


def test_an_unplug_is_seen_within_a_second_and_the_link_comes_back(peer: Peer) -> None:
    async def body(bench: Bench) -> None:
        for round_ in (1, 2):
            await stream_until(peer, lambda: bench.states == ["up", "lost"] * (round_ - 1) + ["up"])  # noqa: B023
            start = time.monotonic()
            await peer.unplug()
            await until(lambda: bench.states == ["up", "lost"] * round_, within_s=1.0)  # noqa: B023
            assert time.monotonic() - start < 1.0
            await asyncio.sleep(0.1)
            await peer.plug()
            await asyncio.sleep(0.1)
        assert "was lost (" in bench.events[-1].text

    play(peer, streamed, body)


def test_after_a_repointed_link_the_other_device_is_read(pty_peer: PtyPeer, tmp_path: Path) -> None:
    async def body(bench: Bench) -> None:
        await stream_until(pty_peer, lambda: bench.states == ["up"])
        other = PtyPeer(tmp_path / "other")
        other.link.parent.mkdir()
        await other.plug()
        await pty_peer.unplug()
        pty_peer.link.symlink_to(other.link.resolve())
        await stream_until(other, lambda: bench.states == ["up", "lost", "up"])
        await other.unplug()

    play(pty_peer, streamed, body)


async def stream_until(peer: Peer, true: Callable[[], bool]) -> None:
    end = time.monotonic() + 5.0
    while not true():
        assert time.monotonic() < end
        await peer.write(LINE)
        await asyncio.sleep(0.02)


def test_no_half_line_of_before_the_unplug_is_joined(peer: Peer) -> None:
    async def body(bench: Bench) -> None:
        await stream_until(peer, lambda: bench.states == ["up"])
        await peer.write(b"dp=+9")
        await asyncio.sleep(0.05)
        await peer.unplug()
        await until(lambda: "lost" in bench.states)
        await peer.plug()
        await asyncio.sleep(0.2)
        await peer.write(b"999.9 Pa;ok\n" + LINE)
        await stream_until(peer, lambda: bench.states == ["up", "lost", "up"])
        assert {reading.value for reading in bench.readings} == {2512.3}

    play(peer, streamed, body)


def test_a_port_that_is_absent_at_the_start_is_said_once_and_found_later(pty_peer: PtyPeer) -> None:
    async def whole() -> None:
        bench = Bench(STREAMED, pty_peer.port)
        running = asyncio.create_task(bench.subject.run())
        await asyncio.sleep(0.2)
        assert bench.states == ["absent"]
        assert bench.events[0].text.startswith(f"port {pty_peer.port} is not there: ")
        assert "serial port now" in bench.events[0].text or "the ports now are" in bench.events[0].text
        await pty_peer.plug()
        await stream_until(pty_peer, lambda: bench.states == ["absent", "up"])
        running.cancel()
        await asyncio.wait([running])
        await pty_peer.unplug()

    run_async(whole())


def test_an_unknown_serial_number_is_looked_for(nothing_left_open: None) -> None:
    async def whole() -> None:
        bench = Bench(STREAMED, "serial:NO-SUCH-NUMBER")
        running = asyncio.create_task(bench.subject.run())
        await asyncio.sleep(0.1)
        assert [event.text[:48] for event in bench.events] == [
            "no port has the serial number NO-SUCH-NUMBER: th"
        ]
        running.cancel()
        await asyncio.wait([running])

    run_async(whole())


def test_garbage_questions_the_settings(peer: Peer) -> None:
    async def body(bench: Bench) -> None:
        end = time.monotonic() + 5.0
        while len(bench.events) < 2:
            assert time.monotonic() < end
            await peer.write(b"\xe4\xf0\xbd\xab2\xb5\xb12.3\xa0Pa\xbb\xef\xeb\n")
            await asyncio.sleep(0.02)
        assert bench.states == ["silent", "silent"]
        assert "check baud rate, parity and profile" in bench.events[1].text
        assert {reading.quality for reading in bench.readings} == {Quality.REJECTED}

    play(peer, streamed, body)


def test_swapped_ports_are_noticed(peer: Peer) -> None:
    neighbour = shipped("streamed-line-balance")

    async def body(bench: Bench) -> None:
        end = time.monotonic() + 5.0
        while not bench.events:
            assert time.monotonic() < end
            await peer.write(b"g      412,36 = 0417\r")
            await asyncio.sleep(0.01)
        assert bench.states == ["wrong-instrument"]
        assert all(reading.value is None for reading in bench.readings)

    play(peer, lambda peer: Bench(STREAMED, peer.port, others=[STREAMED, neighbour]), body)


def test_a_long_silence_opens_the_port_again(nothing_left_open: None) -> None:
    """A half-open connection: the peer is there, but not behind this connection any more."""
    peer = TcpPeer()

    async def body(bench: Bench) -> None:
        await until(lambda: len(peer.connections) >= 2)
        assert bench.states == ["silent"]
        await stream_until(peer, lambda: bench.states == ["silent", "up"])

    play(peer, streamed, body)


def test_two_instruments_on_one_port_the_second_is_told_and_waits(pty_peer: PtyPeer) -> None:
    async def body(bench: Bench) -> None:
        await stream_until(pty_peer, lambda: bench.states == ["up"])
        second = Bench(STREAMED, str(pty_peer.link.resolve()))
        running = asyncio.create_task(second.subject.run())
        await until(lambda: second.events)
        await asyncio.sleep(0.2)
        running.cancel()
        await asyncio.wait([running])
        assert second.states == ["absent"]
        assert "is already used by this program itself" in second.events[0].text
        assert second.readings == []

    play(pty_peer, streamed, body)


def test_what_the_callback_raises_ends_the_run_and_frees_the_port(peer: Peer) -> None:
    def fail(readings: Sequence[Reading]) -> None:
        raise ZeroDivisionError("a bug elsewhere")

    async def whole() -> None:
        await peer.plug()
        bench = Bench(STREAMED, peer.port, on_readings=fail)
        running = asyncio.create_task(bench.subject.run())
        end = time.monotonic() + 5.0
        while not running.done():
            assert time.monotonic() < end
            await peer.write(LINE)
            await asyncio.sleep(0.01)
        await peer.unplug()
        with pytest.raises(ZeroDivisionError):
            await running

    run_async(whole())


def test_an_instrument_can_be_cancelled_at_any_moment(peer: Peer) -> None:
    async def whole() -> None:
        await peer.plug()
        for wait_s in (0.0, 0.0001, 0.001, 0.005, 0.02):
            bench = Bench(POLLED, peer.port)
            running = asyncio.create_task(bench.subject.run())
            await asyncio.sleep(wait_s)
            running.cancel()
            await asyncio.wait([running])
            assert running.cancelled()
        await peer.unplug()

    run_async(whole())


def test_a_burst_of_2000_lines_a_second_is_read_whole(peer: Peer) -> None:
    async def body(bench: Bench) -> None:
        await stream_until(peer, lambda: bench.states == ["up"])
        await asyncio.sleep(0.1)
        before = len(bench.readings)
        for _ in range(40):
            await peer.write(LINE * 100)
            await asyncio.sleep(0.01)
        await until(lambda: len(bench.readings) == before + 4000)
        assert bench.subject.codec.counters.rejected == 0

    play(peer, streamed, body)


@pytest.mark.parametrize("fault", ["unplugged", "silent"])
def test_a_fault_that_lasts_costs_no_processor_time(pty_peer: PtyPeer, fault: str) -> None:
    async def whole() -> None:
        await pty_peer.plug()
        bench = Bench(shipped("polled-line-balance"), pty_peer.port, timing=LinkTiming())
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
