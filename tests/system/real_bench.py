"""A bench of real programs: `lastgrain simulate` and `lastgrain serve` as children, real ports, real files.

Everything a test sees it sees as an outsider: the local socket, the store, exit codes.
"""

from __future__ import annotations

import asyncio
import contextlib
import signal
import subprocess
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from logger.app.children import first_json_line, start_child, stop_child
from logger.app.paths import DataFolder
from logger.core.snapshot import Snapshot
from logger.service.client import ServiceClient
from logger.settings import config_dir
from logger.store.history import list_runs, reading, record_body, run_events

START = {"method_id": "filler-45-interval", "sample_id": "S-1", "operator_id": "op-7", "lot": "L-1"}


class OutOfTimeError(AssertionError):
    """What a test waited for did not come; the text shows the last picture."""


@dataclass
class RealBench:
    """The children and a watching client. `speed` scales the bench clock of both children."""

    root: Path
    speed: float
    scenario: str = "demo-filler"
    tcp: bool = False
    broker: str = ""
    arrangement: str = "beside"
    hands: bool = True
    ports: dict[str, str] = field(default_factory=dict)
    rig: subprocess.Popen[bytes] | None = None
    service: subprocess.Popen[bytes] | None = None

    def __post_init__(self) -> None:
        self.data = DataFolder(self.root)
        self.data.prepare()
        self.client = ServiceClient(self.data.socket, retry_s=0.05)

    def start_rig(self) -> None:
        options = ["--scenario", self.scenario, "--speed", str(self.speed), "--json"]
        options += ["--arrangement", self.arrangement, "--link-dir", str(self.root / "ports")]
        options += ["--follow", str(self.data.socket)] if self.hands else []
        options += ["--tcp"] if self.tcp else []
        self.rig = start_child("simulate", *options, log=self.root / "rig.log")
        self.ports = first_json_line(self.rig, self.root / "rig.log")

    @property
    def bench_file(self) -> Path:
        return self.root / "bench.toml"

    def write_bench(self) -> None:
        text = (config_dir() / "benches" / f"demo-{self.arrangement}.toml").read_text(encoding="utf-8")
        text = text.replace("/dev/serial/by-id/BALANCE", self.ports["mass"])
        text = text.replace("/dev/serial/by-id/PRESSURE", self.ports["pressure"])
        self.bench_file.write_text(f"{text}\n{self.broker}", encoding="utf-8")

    def start_service(self) -> None:
        options = ["--data", str(self.root), "--bench", str(self.bench_file), "--speed", str(self.speed)]
        self.service = start_child("serve", *options, "--simulated", log=self.root / "serve.log")

    def end_service(self, number: signal.Signals, limit_s: float = 15.0) -> int:
        assert self.service is not None
        self.service.send_signal(number)
        code = self.service.wait(limit_s)
        stop_child(self.service)
        return code

    async def rig_command(self, line: str) -> str:
        """One command to the rig's control port; its answer."""
        host, port = self.ports["control"].rsplit(":", 1)
        reader, writer = await asyncio.open_connection(host, int(port))
        writer.write(line.encode() + b"\n")
        answer = (await reader.readline()).decode().strip()
        writer.close()
        await writer.wait_closed()
        return answer

    def picture(self) -> Snapshot | None:
        watch = self.client.watch()
        return watch.snapshot if watch.answering else None

    async def until(self, what: Callable[[Snapshot], bool], limit_s: float = 20.0) -> Snapshot:
        """The first picture for which `what` is true."""
        try:
            async with asyncio.timeout(limit_s):
                while True:
                    picture = self.picture()
                    if picture is not None and what(picture):
                        return picture
                    await asyncio.sleep(0.02)
        except TimeoutError:
            log = (self.root / "serve.log").read_text(encoding="utf-8", errors="replace")[-2000:]
            raise OutOfTimeError(f"not within {limit_s} s; last: {self.picture()}\n{log}") from None

    async def ready(self) -> Snapshot:
        return await self.until(lambda p: all(link.state == "up" for link in p.links))

    async def gone(self, limit_s: float = 10.0) -> None:
        """Returns when the client has noticed that the service went away."""
        async with asyncio.timeout(limit_s):
            async for _ in self.client.changes():
                if self.picture() is None:
                    return

    async def do(self, name: str, /, **args: Any) -> str:
        reply = await self.client.command(name, **args)
        assert reply.ok, reply.text
        return reply.text

    async def operate(self, *states: str, limit_s: float = 60.0) -> Snapshot:
        """A willing operator until one of `states`."""

        async def work() -> Snapshot:
            while True:
                picture = self.picture()
                if picture is not None and picture.state in states:
                    return picture
                if picture is not None and "acknowledge" in picture.can:
                    await self.client.command("acknowledge", name="op-7")
                elif picture is not None and "accept_weight" in picture.can and picture.mass.stable:
                    await self.client.command("accept_weight")
                await asyncio.sleep(0.05)

        try:
            async with asyncio.timeout(limit_s):
                return await work()
        except TimeoutError:
            raise OutOfTimeError(f"not {states} within {limit_s} s; last: {self.picture()}") from None

    def runs(self) -> list[Any]:
        with reading(self.data.store) as connection:
            return list_runs(connection, 100)

    def record(self, run_id: str) -> dict[str, Any] | None:
        with reading(self.data.store) as connection:
            return record_body(connection, run_id)

    def event_kinds(self, run_id: str) -> list[str]:
        with reading(self.data.store) as connection:
            return [event.kind.value for event in run_events(connection, run_id)]


B = TypeVar("B", bound=RealBench)


@contextlib.asynccontextmanager
async def real_bench(root: Path, speed: float = 60.0, **more: Any) -> AsyncIterator[RealBench]:
    """The usual bench, running."""
    async with running(RealBench(root, speed, **more)) as bench:
        yield bench


@contextlib.asynccontextmanager
async def running(bench: B) -> AsyncIterator[B]:
    """Rig and service running, links up, a client attached; everything ended afterwards."""
    watching = asyncio.create_task(bench.client.run(), name="bench-client")
    try:
        bench.start_rig()
        bench.write_bench()
        bench.start_service()
        await bench.ready()
        yield bench
    finally:
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)
        for child in (bench.service, bench.rig):
            if child is not None:
                stop_child(child)
