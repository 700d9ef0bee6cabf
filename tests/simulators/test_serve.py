from __future__ import annotations

import asyncio
import contextlib
import os
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest

from simulators.dialects import UnknownDialectError
from simulators.ports import PortKind
from simulators.scenarios import UnknownScenarioError
from simulators.serve import BenchServer, make_ports, serve
from simulators.virtual import VirtualBench

pytestmark = pytest.mark.asyncio

SECOND_NS = 1_000_000_000


class HandClock:
    """A bench clock that a test turns by hand."""

    def __init__(self) -> None:
        self.ns = 0

    def __call__(self) -> int:
        return self.ns


async def read_pty(path: str, length: int) -> bytes:
    fd = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    data = b""
    async with asyncio.timeout(5):
        while len(data) < length:
            with contextlib.suppress(BlockingIOError):
                data += os.read(fd, 65_536)
            await asyncio.sleep(0.002)
    os.close(fd)
    return data


async def read_tcp(address: str, length: int, send: Callable[[], None]) -> bytes:
    host, port = address.removeprefix("socket://").split(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    await asyncio.sleep(0.02)
    send()
    async with asyncio.timeout(5):
        data = await reader.readexactly(length)
    writer.close()
    return data


async def test_pty_and_tcp_carry_the_bytes_of_the_virtual_bench(tmp_path: Path) -> None:
    expected = b"".join(
        data
        for _, port, data in VirtualBench("demo-filler", 4, arrangement="under").step_to(10 * SECOND_NS)
        if port == "mass"
    )
    got: dict[PortKind, bytes] = {}
    kinds: tuple[PortKind, PortKind] = ("pty", "tcp")
    for kind in kinds:
        clock = HandClock()
        bench = VirtualBench("demo-filler", 4, arrangement="under")
        server = BenchServer(bench, make_ports(bench.instruments, kind, tmp_path), clock, 1.0)
        await server.plug("mass", True)
        await server.plug("pressure", True)
        clock.ns = 10 * SECOND_NS
        if kind == "pty":
            server.pump()
            got[kind] = await read_pty(server.ports["mass"].address, len(expected))
        else:
            got[kind] = await read_tcp(server.ports["mass"].address, len(expected), server.pump)
        for port in server.ports.values():
            await port.unplug()
    assert got["pty"] == expected
    assert got["tcp"] == expected


@contextlib.asynccontextmanager
async def served(**options: Any) -> AsyncIterator[dict[str, str]]:
    ready: asyncio.Future[dict[str, str]] = asyncio.get_running_loop().create_future()
    task = asyncio.create_task(
        serve(options.pop("scenario", "demo-filler"), on_ready=ready.set_result, **options)
    )
    waiting: set[asyncio.Future[Any]] = {task, ready}
    done, _ = await asyncio.wait(waiting, return_when=asyncio.FIRST_COMPLETED)
    if task in done:
        task.result()
    try:
        yield ready.result()
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task


async def open_address(address: str) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    host, port = address.removeprefix("socket://").split(":")
    return await asyncio.open_connection(host, int(port))


async def test_a_polled_balance_answers_within_its_100_ms() -> None:
    async with served(kind="tcp", arrangement="beside") as addresses:
        reader, writer = await open_address(addresses["mass"])
        took_s = []
        for _ in range(5):
            asked_s = time.monotonic()
            writer.write(b"W\r\n")
            line = await asyncio.wait_for(reader.readuntil(b"\r\n"), 2)
            took_s.append(time.monotonic() - asked_s)
            assert len(line) == 16
        assert sorted(took_s)[2] < 0.1
        writer.close()


async def test_commands_over_the_control_port_move_hands_and_cables(tmp_path: Path) -> None:
    async with served(kind="pty", link_dir=tmp_path, speed=20.0) as addresses:
        assert set(addresses) == {"mass", "pressure", "control"}
        assert (tmp_path / "mass").is_symlink()
        reader, writer = await open_address(addresses["control"])

        async def ask(line: str) -> str:
            writer.write(f"{line}\n".encode())
            return (await asyncio.wait_for(reader.readline(), 2)).decode().strip()

        assert await ask("sieve to rig") == "Done."
        assert await ask("suction on") == "Done."
        assert "did you mean 'suction off'" in await ask("suction of")
        assert await ask("unplug balance") == "The cable of the mass port is out."
        assert not (tmp_path / "mass").exists()
        assert await ask("plug balance") == "The cable of the mass port is in."
        assert (tmp_path / "mass").exists()
        await asyncio.sleep(0.5)
        assert "suction on, 2" in await ask("status")
        writer.close()
    assert not (tmp_path / "mass").is_symlink()
    assert not (tmp_path / "pressure").is_symlink()


async def test_the_operator_follows_the_screen() -> None:
    asked = 0

    def follow() -> str | None:
        nonlocal asked
        asked += 1
        return "switch_suction_on" if asked > 3 else None

    async with served(kind="tcp", speed=60.0, follow=follow) as addresses:
        reader, writer = await open_address(addresses["pressure"])
        async with asyncio.timeout(5):
            while not (await reader.readuntil(b"\n")).startswith(b"dp=+24"):
                pass
        writer.close()


async def test_lines_of_a_keyboard_are_commands_too() -> None:
    said: list[str] = []
    answered = asyncio.Event()

    def say(sentence: str) -> None:
        said.append(sentence)
        if len(said) == 3:
            answered.set()

    async def lines() -> AsyncIterator[str]:
        for line in ("", "pour 25", "status", "nonsense"):
            yield line

    async with served(kind="tcp", lines=lines(), say=say, control=False) as addresses:
        assert "control" not in addresses
        async with asyncio.timeout(2):
            await answered.wait()
    assert said[0] == "25.000 g poured."
    assert said[2].startswith("there is no command 'nonsense'")


async def test_a_leaving_control_client_does_not_stop_the_bench() -> None:
    async with served(kind="tcp") as addresses:
        _, writer = await open_address(addresses["control"])
        writer.write(b"x" * 5000 + b"\nhelp")
        writer.transport.abort()
        reader, other = await open_address(addresses["control"])
        other.write(b"status\n")
        assert b"sieve on the bench" in await asyncio.wait_for(reader.readline(), 2)
        other.close()


async def test_a_mistyped_scenario_or_dialect_serves_nothing(tmp_path: Path) -> None:
    with pytest.raises(UnknownScenarioError):
        async with served(scenario="demo", kind="tcp"):
            pass
    with pytest.raises(UnknownDialectError):
        async with served(kind="tcp", mass_dialect="polled-line-pressure"):
            pass
    with pytest.raises(ValueError, match="link_dir"):
        async with served(kind="pty"):
            pass


async def test_sixty_times_real_time_takes_less_than_two_fifths_of_a_core() -> None:
    async with served(
        kind="tcp", speed=60.0, arrangement="under", follow=lambda: "switch_suction_on"
    ) as addresses:
        reader, writer = await open_address(addresses["mass"])
        before_s, cpu_s = time.monotonic(), time.process_time()
        data = b""
        while time.monotonic() - before_s < 2.0:
            data += await reader.read(65_536)
        cpu_share = (time.process_time() - cpu_s) / (time.monotonic() - before_s)
        lines = data.count(b"\r")
        writer.close()
    assert lines > 2.0 * 600 * 0.9
    assert cpu_share < 0.4
