"""The permit output on its port, against a relay played by the test, the simulated one, and libmodbus."""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.backoff import BackOffPolicy
from drivers.instrument import LinkTiming
from drivers.link_watch import LinkEvent
from drivers.permit import CoilRelay, LineRelay, PermitOutput, RelayDialect
from drivers.profile import SerialSettings
from simulators.ports import PortKind
from simulators.rig import VirtualRig
from simulators.serve import BenchServer, make_ports, scaled_clock
from simulators.virtual import PermitKind, VirtualBench
from tests.drivers.peers import Peer, PtyPeer, TcpPeer, run_async, until
from tests.drivers.test_modbus_outside import libmodbus_server
from tests.real import require_library

FAST = LinkTiming(
    look_s=0.02, reopen_s=4.0, back_off=BackOffPolicy(first_s=0.02, most_s=0.05, per_minute=1000, good_s=0.2)
)
LINES = LineRelay("K1", "K0")


class Output:
    """A permit output and what it told. `hold_s` is the relay's time-out, short for the test."""

    def __init__(self, dialect: RelayDialect, port: str, hold_s: float = 0.5) -> None:
        self.events: list[LinkEvent] = []
        self.subject = PermitOutput(
            dialect,
            port,
            SerialSettings(),
            now_ns=time.monotonic_ns,
            on_link=self.events.append,
            heartbeat_s=hold_s,
            timing=FAST,
        )

    @property
    def states(self) -> list[str]:
        return [event.state for event in self.events]


@contextlib.asynccontextmanager
async def running(output: Output) -> AsyncIterator[None]:
    task = asyncio.create_task(output.subject.run())
    try:
        yield
        assert not task.done()
    finally:
        task.cancel()
        await asyncio.wait([task])
        assert task.cancelled()


async def keep(output: Output, granted: bool, seconds: float) -> None:
    """Says it again and again, as the service does ten times a second."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        output.subject.set(granted)
        await asyncio.sleep(0.05)


def obey(data: bytes) -> bytes:
    return data if data in (b"K1\r\n", b"K0\r\n") else b""


def play(
    peer: Peer, body: Callable[[Output], Awaitable[None]], answer: Callable[[bytes], bytes] = obey
) -> None:
    async def whole() -> None:
        await peer.plug()
        peer.answer_with(answer)
        output = Output(LINES, peer.port)
        try:
            async with running(output):
                await body(output)
        finally:
            await peer.unplug()

    run_async(whole())


def test_nothing_is_permitted_before_somebody_says_so(peer: Peer) -> None:
    async def body(output: Output) -> None:
        await until(lambda: output.states == ["up"])
        await asyncio.sleep(0.3)
        assert b"K1" not in peer.received
        assert peer.received.startswith(b"K0\r\nK0\r\n")
        assert output.events[0].text == f"The permit relay answers at {peer.port}."
        assert (output.subject.answered_age_s() or 9.0) < 0.3

    play(peer, body)


def test_the_heartbeat_comes_five_times_in_the_time_of_the_relay(peer: Peer) -> None:
    async def body(output: Output) -> None:
        await until(lambda: output.states == ["up"])
        await keep(output, True, 1.0)
        assert 7 <= peer.received.count(b"K1\r\n") <= 12

    play(peer, body)


def test_a_withdrawal_is_sent_at_once(peer: Peer) -> None:
    async def body(output: Output) -> None:
        await until(lambda: output.states == ["up"])
        await keep(output, True, 0.3)
        peer.received.clear()
        output.subject.set(False)
        start = time.monotonic()
        await until(lambda: b"K0\r\n" in peer.received, within_s=0.09)
        assert time.monotonic() - start < 0.05

    play(peer, body)


def test_a_withdrawal_does_not_wait_for_the_answer_to_a_heartbeat(peer: Peer) -> None:
    """The relay is deaf and mute for a moment: the order is repeated until it is answered."""
    deaf = [False]

    async def body(output: Output) -> None:
        await until(lambda: output.states == ["up"])
        await keep(output, True, 0.3)
        deaf[0] = True
        await keep(output, True, 0.15)
        peer.received.clear()
        output.subject.set(False)
        await until(lambda: peer.received.count(b"K0\r\n") >= 3, within_s=1.0)
        deaf[0] = False
        await until(lambda: (output.subject.answered_age_s() or 9.0) < 0.1, within_s=1.0)
        assert b"K1" not in peer.received

    play(peer, body, lambda data: b"" if deaf[0] else obey(data))


def test_a_permit_that_is_not_said_again_lapses(pty_peer: PtyPeer) -> None:
    """The decider hangs while the output lives on."""

    async def body(output: Output) -> None:
        await until(lambda: output.states == ["up"])
        await keep(output, True, 0.2)
        await asyncio.sleep(2.3)
        pty_peer.received.clear()
        await asyncio.sleep(0.5)
        assert set(bytes(pty_peer.received).split()) == {b"K0"}

    play(pty_peer, body)


def test_a_clean_end_withdraws(peer: Peer) -> None:
    async def whole() -> None:
        await peer.plug()
        peer.answer_with(obey)
        output = Output(LINES, peer.port)
        async with running(output):
            await until(lambda: output.states == ["up"])
            await keep(output, True, 0.3)
            assert peer.received.endswith(b"K1\r\n")
        assert peer.received.endswith(b"K0\r\n")
        await peer.unplug()

    run_async(whole())


def test_a_clean_end_waits_only_a_moment_for_a_mute_relay(peer: Peer) -> None:
    async def whole() -> None:
        await peer.plug()
        output = Output(LINES, peer.port)
        async with running(output):
            await keep(output, True, 0.3)
            start = time.monotonic()
        assert time.monotonic() - start < 1.5
        assert bytes(peer.received).split()[-3:] == [b"K0"] * 3
        await peer.unplug()

    run_async(whole())


def test_a_pulled_cable_is_told_and_the_relay_is_told_again_when_it_is_back(peer: Peer) -> None:
    async def body(output: Output) -> None:
        await until(lambda: output.states == ["up"])
        await keep(output, True, 0.2)
        start = time.monotonic()
        await peer.unplug()
        await until(lambda: output.states == ["up", "lost"], within_s=1.0)
        assert time.monotonic() - start < 1.0
        output.subject.set(False)
        await peer.plug()
        peer.received.clear()
        await until(lambda: output.states == ["up", "lost", "up"])
        assert set(bytes(peer.received).split()) == {b"K0"}

    play(peer, body)


def test_a_mute_relay_is_told_and_the_port_opened_again(nothing_left_open: None) -> None:
    peer = TcpPeer()

    async def body(output: Output) -> None:
        await until(lambda: output.states == ["silent"])
        assert output.events[0].text.startswith(f"no answer from the relay at {peer.port} for 2 s: ")
        await until(lambda: len(peer.connections) >= 2)

    play(peer, body, lambda data: b"")


def test_a_relay_that_stays_out_is_told(pty_peer: PtyPeer) -> None:
    async def body(output: Output) -> None:
        await until(lambda: output.states == ["up"])
        await keep(output, True, 2.3)
        assert output.states == ["up", "silent"]
        assert output.events[1].text.endswith("answers, but does not pull in: check what else keeps it out.")

    play(pty_peer, body, lambda data: b"K0\r\n")


def test_the_port_is_locked_like_any_other(pty_peer: PtyPeer) -> None:
    async def body(output: Output) -> None:
        await until(lambda: output.states == ["up"])
        second = Output(LINES, str(pty_peer.link.resolve()))
        async with running(second):
            await until(lambda: second.events)
        assert "is already used by this program itself" in second.events[0].text

    play(pty_peer, body)


@settings(deadline=None, max_examples=300)
@given(heard=st.binary(max_size=60), on=st.booleans(), coil=st.booleans())
def test_only_the_right_answer_is_obedience(heard: bytes, on: bool, coil: bool) -> None:
    dialect = COIL if coil else LINES

    assert dialect.obeyed(on, heard + b"\r\n" + dialect.request(on))
    assert dialect.obeyed(on, dialect.request(not on) + heard) is dialect.obeyed(on, heard)
    assert dialect.complaint(on, dialect.request(on)) == ""


COIL = CoilRelay(2, 0)


# --- the simulated relay and rig -------------------------------------------------------------------------


@contextlib.asynccontextmanager
async def simulated(kind: PortKind, permit: PermitKind, folder: Path) -> AsyncIterator[BenchServer]:
    """At ten times real time; the relay's own time-out of 0.5 s is real."""
    clock = scaled_clock(10.0)
    bench = VirtualBench("demo-filler", 3, permit=permit, relay_hold_s=5.0, start_ns=clock())
    server = BenchServer(bench, make_ports(bench.instruments, kind, folder), clock, 10.0)
    for port in server.ports:
        await server.plug(port, True)
    serving = asyncio.create_task(server.run(None))
    bench.rig.sieve_to_rig()
    try:
        yield server
    finally:
        serving.cancel()
        await asyncio.wait([serving])


def state_of(rig: VirtualRig) -> tuple[str, str]:
    return "permitted" if rig.is_permitted else "withdrawn", "on" if rig.suction_is_on else "off"


@pytest.mark.parametrize(("kind", "permit"), [("tcp", "modbus"), ("pty", "line")])
def test_the_simulated_relay_permits_stops_and_never_starts(
    kind: PortKind, permit: PermitKind, tmp_path: Path
) -> None:
    async def whole() -> None:
        async with simulated(kind, permit, tmp_path) as server:
            rig = server.bench.rig
            output = Output(COIL if permit == "modbus" else LINES, server.ports["permit"].address)
            async with running(output):
                await until(lambda: output.states == ["up"])
                rig.suction_on()
                assert state_of(rig) == ("withdrawn", "off")
                await keep(output, True, 0.3)
                assert state_of(rig) == ("permitted", "off")
                rig.suction_on()
                await keep(output, True, 1.2)
                assert state_of(rig) == ("permitted", "on")
                output.subject.set(False)
                await until(lambda: not rig.suction_is_on, within_s=0.3)
                await keep(output, True, 0.5)
                assert state_of(rig) == ("permitted", "off")
                rig.suction_on()
                await server.plug("permit", False)
                await keep(output, True, 0.7)
                assert state_of(rig) == ("withdrawn", "off")
                await server.plug("permit", True)
                await keep(output, True, 0.7)
                assert output.states == ["up", "lost", "up"]
                assert state_of(rig) == ("permitted", "off")
            await until(lambda: not rig.is_permitted)

    run_async(whole())


@pytest.mark.real
def test_the_coil_of_libmodbus(tmp_path: Path) -> None:
    """libmodbus 3.1 (Debian's libmodbus5) sees the coil go on and off."""
    require_library("libmodbus.so.5")

    async def whole() -> None:
        async with libmodbus_server() as (port, child):
            assert child.stdout is not None
            output = Output(CoilRelay(1, 0), port)
            async with running(output):
                await keep(output, True, 0.5)
                assert await asyncio.to_thread(child.stdout.readline) == "coil 1\n"
                output.subject.set(False)
                assert await asyncio.to_thread(child.stdout.readline) == "coil 0\n"
                assert output.states == ["up"]

    run_async(whole())


@pytest.mark.real
def test_a_coil_that_libmodbus_refuses_is_told() -> None:
    require_library("libmodbus.so.5")

    async def whole() -> None:
        async with libmodbus_server() as (port, _):
            output = Output(CoilRelay(1, 9), port)
            async with running(output):
                await until(lambda: output.states == ["silent"])
                assert output.events[0].text.endswith(
                    "answers, but refuses the coil with exception 2: check unit_id and coil."
                )

    run_async(whole())
