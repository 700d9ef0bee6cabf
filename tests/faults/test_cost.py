"""A fault that lasts costs next to nothing: no spinning, and no storm of connections. Long, so not in the short check."""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from tests.faults.test_security import broker_table
from tests.publish.mosquitto import free_port
from tests.system.real_bench import RealBench, real_bench

pytestmark = [pytest.mark.asyncio, pytest.mark.full]
HELD_S = 10.0
HIGHEST_SHARE = 0.05
MOST_A_MINUTE = 10
TICKS_PER_S = os.sysconf("SC_CLK_TCK")


def cpu_s(pid: int) -> float:
    """Processor time of a process so far, all its threads. Linux."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / TICKS_PER_S


async def share(bench: RealBench, seconds: float = HELD_S) -> float:
    assert bench.service is not None
    began_s, used_s = time.monotonic(), cpu_s(bench.service.pid)
    await asyncio.sleep(seconds)
    return (cpu_s(bench.service.pid) - used_s) / (time.monotonic() - began_s)


async def test_the_measure_bites() -> None:
    began_s, used_s = time.monotonic(), cpu_s(os.getpid())
    while time.monotonic() - began_s < 0.5:
        pass
    assert cpu_s(os.getpid()) - used_s > 0.2


@pytest.mark.parametrize(
    "lines",
    [
        ("unplug balance",),
        ("unplug balance", "unplug pressure"),
        ("fault silence balance", "fault silence pressure"),
        ("fault wrong-baud pressure", "fault garbage balance"),
        ("swap",),
    ],
    ids=["balance-out", "both-out", "silent", "unreadable", "swapped"],
)
async def test_a_fault_of_the_instruments_held_for_ten_seconds(
    lines: tuple[str, ...], tmp_path: Path
) -> None:
    async with real_bench(tmp_path, speed=1.0) as bench:
        for line in lines:
            await bench.rig_command(line)
        await bench.until(lambda p: any(link.state != "up" for link in p.links), limit_s=15.0)
        assert await share(bench) < HIGHEST_SHARE


@asynccontextmanager
async def frozen_listener() -> AsyncIterator[int]:
    """Takes connections and never says a word."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        yield listener.getsockname()[1]


async def test_a_broker_that_is_down_held_for_ten_seconds(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=1.0, broker=broker_table(free_port())) as bench:
        await bench.until(lambda p: p.broker.state == "down")
        assert await share(bench) < HIGHEST_SHARE


async def test_a_broker_that_never_answers_held_for_ten_seconds(tmp_path: Path) -> None:
    async with (
        frozen_listener() as port,
        real_bench(tmp_path, speed=1.0, broker=broker_table(port)) as bench,
    ):
        assert await share(bench) < HIGHEST_SHARE


@dataclass
class SlamsDoors:
    """Takes each connection and closes it at once; counts them."""

    at_s: list[float] = field(default_factory=list)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.at_s.append(time.monotonic())
        writer.close()

    @asynccontextmanager
    async def open(self) -> AsyncIterator[int]:
        server = await asyncio.start_server(self.serve, "127.0.0.1", 0)
        try:
            yield server.sockets[0].getsockname()[1]
        finally:
            server.close()

    def most_in_a_minute(self) -> int:
        return max((sum(start <= at_s < start + 60 for at_s in self.at_s) for start in self.at_s), default=0)


async def test_no_peer_is_called_more_than_ten_times_a_minute(tmp_path: Path) -> None:
    """A broker and two instruments on TCP that all slam the door, for a minute."""
    broker, balance, pressure = SlamsDoors(), SlamsDoors(), SlamsDoors()
    async with broker.open() as a, balance.open() as b, pressure.open() as c:
        bench = RealBench(tmp_path, 1.0, broker=broker_table(a))
        bench.ports = {"mass": f"socket://127.0.0.1:{b}", "pressure": f"socket://127.0.0.1:{c}"}
        bench.write_bench()
        bench.start_service()
        watching = asyncio.create_task(bench.client.run())
        try:
            await bench.until(lambda p: p.broker.state == "down" and all(k.state != "up" for k in p.links))
            assert await share(bench, 62.0) < HIGHEST_SHARE
        finally:
            watching.cancel()
            await asyncio.gather(watching, return_exceptions=True)
            await asyncio.to_thread(bench.end_service, signal.SIGTERM)
    counts = [peer.most_in_a_minute() for peer in (broker, balance, pressure)]
    assert all(1 < count <= MOST_A_MINUTE for count in counts), counts
