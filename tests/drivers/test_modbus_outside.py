"""The register map against slaves that share no code with the drivers: our simulator (frames written by hand),
pymodbus's own server (3.16), and libmodbus (3.1, Debian's libmodbus5)."""

from __future__ import annotations

import asyncio
import contextlib
import os
import subprocess
import sys
import time
import tty
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path
from typing import cast

import pytest
from pymodbus import FramerType
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from drivers.link_watch import LinkEvent
from drivers.modbus_instrument import ModbusInstrument
from drivers.modbus_profile import ModbusProfile, Register, RegisterKind, RegisterType, WordOrder
from drivers.reading import Quality, Reading
from simulators.ports import PortKind
from simulators.serve import BenchServer, make_ports, scaled_clock
from simulators.virtual import VirtualBench
from tests.drivers.peers import run_async, until
from tests.drivers.test_modbus_codec import FLOAT, SCALED
from tests.real import require_library

assert FLOAT.status is not None
LOW_FIRST = replace(
    FLOAT,
    status=replace(FLOAT.status, with_value=False),
    value=Register(
        kind=RegisterKind.HOLDING, address=2, type=RegisterType.FLOAT32, word_order=WordOrder.LOW_FIRST
    ),
)


@contextlib.asynccontextmanager
async def reading(
    profile: ModbusProfile, port: str, identity: str = ""
) -> AsyncIterator[tuple[list[Reading], list[LinkEvent]]]:
    readings: list[Reading] = []
    events: list[LinkEvent] = []
    subject = ModbusInstrument(
        profile,
        port,
        now_ns=time.monotonic_ns,
        on_readings=readings.extend,
        on_link=events.append,
        identity=identity,
    )
    running = asyncio.create_task(subject.run())
    try:
        yield readings, events
        assert not running.done()
    finally:
        running.cancel()
        await asyncio.wait([running])


# --- our simulator: a bench with the suction switched on -------------------------------------------------


@contextlib.asynccontextmanager
async def simulated(kind: PortKind, folder: Path) -> AsyncIterator[BenchServer]:
    clock = scaled_clock(1.0)
    bench = VirtualBench("demo-filler", 3, pressure_dialect="modbus-pressure", start_ns=clock())
    server = BenchServer(bench, make_ports(bench.instruments, kind, folder), clock, 1.0)
    for port in server.ports:
        await server.plug(port, True)
    running = asyncio.create_task(server.run(None))
    try:
        yield server
    finally:
        running.cancel()
        await asyncio.wait([running])


@pytest.mark.parametrize("kind", ["tcp", "pty"])
@pytest.mark.parametrize("profile", [FLOAT, LOW_FIRST, SCALED], ids=["high-first", "low-first", "int16"])
def test_the_simulated_transducer(kind: PortKind, profile: ModbusProfile, tmp_path: Path) -> None:
    async def whole() -> None:
        async with simulated(kind, tmp_path) as server:
            rig = server.bench.rig
            rig.sieve_to_rig()
            rig.suction_on()
            async with reading(profile, server.ports["pressure"].address, "40217") as (readings, events):
                await until(lambda: len(readings) >= 15)
                assert [event.state for event in events] == ["up"]
                assert {r.quality for r in readings} == {Quality.OK}
                assert readings[-1].value == pytest.approx(rig.pressure().dp_pa, rel=0.1, abs=2.0)
                assert (readings[-1].value or 0.0) > 100.0
                start = time.monotonic()
                await server.plug("pressure", False)
                await until(lambda: [event.state for event in events] == ["up", "lost"], 1.0)
                assert time.monotonic() - start < 1.0

    run_async(whole())


# --- pymodbus's own server -------------------------------------------------------------------------------


@contextlib.asynccontextmanager
async def pymodbus_server() -> AsyncIterator[str]:
    """RTU framing over TCP. The registers are encoded by pymodbus, not by us."""
    data = [
        SimData(0, values=[2512.5], datatype=DataType.FLOAT32),
        SimData(2, values=[0x0800, 0x451D, 2512, 4], datatype=DataType.REGISTERS),
        SimData(6, values=[40217], datatype=DataType.UINT32),
    ]
    server = ModbusTcpServer(SimDevice(1, data), framer=FramerType.RTU, address=("127.0.0.1", 0))
    await server.serve_forever(background=True)
    number = cast("asyncio.Server", server.transport).sockets[0].getsockname()[1]
    try:
        yield f"socket://127.0.0.1:{number}"
    finally:
        await server.shutdown()  # type: ignore[no-untyped-call]


@pytest.mark.parametrize(
    ("profile", "value"),
    [(FLOAT, 2512.5), (LOW_FIRST, 2512.5), (SCALED, 2512.0)],
    ids=["high-first", "low-first", "int16"],
)
def test_the_server_of_pymodbus(profile: ModbusProfile, value: float) -> None:
    async def whole() -> None:
        async with pymodbus_server() as port, reading(profile, port, "40217") as (readings, events):
            await until(lambda: len(readings) >= 5)
            assert [event.state for event in events] == ["up"]
            assert {(r.value, r.quality) for r in readings} == {(value, Quality.OK)}

    run_async(whole())


def test_an_exception_of_pymodbus_is_a_reading() -> None:
    beyond = replace(FLOAT, value=replace(FLOAT.value, address=4000), status=None, silence_s=0.5)

    async def whole() -> None:
        async with pymodbus_server() as port, reading(beyond, port) as (readings, events):
            await until(lambda: events)
            assert [event.state for event in events] == ["silent"]
            assert "it has no input register 4000 to 4001 (exception 2)" in events[0].text
            assert {(r.quality, r.raw) for r in readings} == {(Quality.REJECTED, "exception 2")}

    run_async(whole())


# --- libmodbus -------------------------------------------------------------------------------------------


class Cable:
    """Two pseudo-terminals joined at their masters: each side opens a device of its own."""

    def __init__(self) -> None:
        self._pairs = [os.openpty() for _ in range(2)]
        for pair in self._pairs:
            for end in pair:
                tty.setraw(end)
        self.here, self.there = (os.ttyname(slave) for _, slave in self._pairs)

    @contextlib.contextmanager
    def joined(self) -> Iterator[None]:
        loop = asyncio.get_running_loop()
        one, other = (master for master, _ in self._pairs)
        loop.add_reader(one, lambda: os.write(other, os.read(one, 4096)))
        loop.add_reader(other, lambda: os.write(one, os.read(other, 4096)))
        try:
            yield
        finally:
            for pair in self._pairs:
                loop.remove_reader(pair[0])
                for end in pair:
                    os.close(end)


def start_server(device: str) -> subprocess.Popen[str]:
    program = Path(__file__).with_name("libmodbus_server.py")
    return subprocess.Popen([sys.executable, str(program), device], stdout=subprocess.PIPE, text=True)


@contextlib.asynccontextmanager
async def libmodbus_server() -> AsyncIterator[tuple[str, subprocess.Popen[str]]]:
    cable = Cable()
    with cable.joined():
        child = start_server(cable.there)
        assert child.stdout is not None
        try:
            assert await asyncio.to_thread(child.stdout.readline) == "listening\n"
            yield cable.here, child
        finally:
            child.kill()
            child.wait()
            child.stdout.close()


@pytest.mark.real
@pytest.mark.parametrize(
    ("profile", "value"),
    [(FLOAT, 2512.5), (LOW_FIRST, 2512.5), (SCALED, 2512.0)],
    ids=["high-first", "low-first", "int16"],
)
def test_libmodbus(profile: ModbusProfile, value: float) -> None:
    require_library("libmodbus.so.5")

    async def whole() -> None:
        async with libmodbus_server() as (port, _), reading(profile, port, "40217") as (readings, events):
            await until(lambda: len(readings) >= 10)
            assert [event.state for event in events] == ["up"]
            assert {(r.value, r.quality) for r in readings} == {(value, Quality.OK)}

    run_async(whole())


@pytest.mark.real
def test_an_exception_of_libmodbus_is_a_reading() -> None:
    require_library("libmodbus.so.5")
    beyond = replace(FLOAT, value=replace(FLOAT.value, address=4000), status=None, silence_s=0.5)

    async def whole() -> None:
        async with libmodbus_server() as (port, _), reading(beyond, port) as (readings, events):
            await until(lambda: events)
            assert "it has no input register 4000 to 4001 (exception 2)" in events[0].text
            assert {(r.quality, r.raw) for r in readings} == {(Quality.REJECTED, "exception 2")}

    run_async(whole())
