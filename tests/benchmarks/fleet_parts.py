"""Parts of the fleet: benches with a real store, outbox and sender, and the sink as its own process.

The messages of a run are those of a whole run in virtual time (events and record), given a new id each time.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.core.backoff import RetryRules
from logger.core.record import ChainHead, build_record
from logger.core.run.plan import sha256_json
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from logger.sink.database import SqliteDatabase
from logger.sink.report import BenchReport, read_report
from logger.store.journal import UNPUBLISHED, Journal, _event_body
from logger.store.outbox import SqliteOutbox
from logger.store.outbox_rows import add_message, send_again
from tests.publish.memory_outbox import WallClock
from tests.store.quick_runs import real_run

SITE = "fleet"
HURRIED = RetryRules(first_s=0.2, cap_s=1.0, slow_s=1.0, most_per_minute=100)
IDS = UuidV7()
BEAT_S = 2.0
"""How often an idle bench says its last seq; shorter than on a real bench, to find a lost tail sooner."""
TICKS = os.sysconf("SC_CLK_TCK")


@cache
def template() -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """Bodies of the events and of the record of one run."""
    run = real_run()
    events = [_event_body("", event) for event in run.events if event.kind not in UNPUBLISHED]
    record = build_record(run.run_id, run.facts, ChainHead(4, "2" * 64)).body()
    del record["record_sha256"]
    return events, record


def messages_a_run() -> int:
    """Events and the record."""
    return len(template()[0]) + 1


def add_run(connection: sqlite3.Connection, bench: str) -> None:
    """One more run's messages into a bench's outbox."""
    events, record = template()
    run_id, utc = IDS.new_id(), utc_now()
    for event in events:
        add_message(connection, IDS.new_id(), "event", run_id, utc, event | {"run_id": run_id})
    whole = record | {"run_id": run_id, "site": SITE, "bench": bench}
    body = whole | {"record_sha256": sha256_json(whole)}
    add_message(connection, IDS.new_id(), "record", run_id, utc, body)


class FleetBench:
    """One bench: everything of its publishing side is what the service uses."""

    def __init__(self, folder: Path, number: int, port: int) -> None:
        self.name = f"b{number:02d}"
        failures: list[Exception] = []
        self.journal = Journal(
            folder / f"{self.name}.db", utc_now, IDS.new_id, failures.append, free_floor_bytes=0
        )
        self.outbox = SqliteOutbox(self.journal.writer, utc_now)
        settings = BrokerSettings(
            host="127.0.0.1",
            port=port,
            client_id=f"fleet-{self.name}",
            insecure=True,
            publish_timeout_s=3.0,
            beat_s=BEAT_S,
        )
        self.publisher = Publisher(settings, SITE, self.name, self.outbox, WallClock(), rules=HURRIED)

    async def add_runs(self, count: int) -> None:
        """In one transaction, as a backlog."""

        def job(connection: sqlite3.Connection) -> None:
            for _ in range(count):
                add_run(connection, self.name)

        await asyncio.wrap_future(self.journal.writer.submit(job))
        self.outbox.poke()

    async def send_again(self, first: int, last: int) -> None:
        """What `lastgrain runs republish --seq` does at the bench."""
        await asyncio.wrap_future(
            self.journal.writer.submit(
                lambda connection: send_again(connection, "seq BETWEEN ? AND ?", first, last)
            )
        )
        self.outbox.poke()

    async def waiting(self) -> int:
        """Messages that the broker has not acknowledged."""
        return (await self.outbox.waiting())[0]


@contextlib.asynccontextmanager
async def benches(folder: Path, count: int, port: int) -> AsyncIterator[list[FleetBench]]:
    """The fleet, not publishing yet."""
    made = [FleetBench(folder, number, port) for number in range(count)]
    try:
        yield made
    finally:
        for bench in made:
            await asyncio.to_thread(bench.journal.close)


@contextlib.asynccontextmanager
async def publishing(fleet: list[FleetBench]) -> AsyncIterator[None]:
    """All senders at work."""
    tasks = [asyncio.create_task(bench.publisher.run()) for bench in fleet]
    try:
        yield
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


class SinkChild:
    """`lastgrain sink` as its own process."""

    def __init__(self, folder: Path, port: int) -> None:
        self.path = folder / "plant.db"
        self._log = folder / "sink.log"
        self._port = port
        self._process: subprocess.Popen[bytes] | None = None
        self._spent_s = 0.0

    def start(self) -> None:
        command = [sys.executable, "-m", "logger.cli", "sink", "--broker", f"mqtt://127.0.0.1:{self._port}"]
        with self._log.open("ab") as log:
            self._process = subprocess.Popen([*command, "--database", str(self.path)], stderr=log)
        deadline = time.monotonic() + 30.0
        seen = self._log.stat().st_size
        while self._log.stat().st_size == seen or "Connected" not in self._log.read_text():
            assert time.monotonic() < deadline, self._log.read_text()
            time.sleep(0.05)

    def end(self, number: signal.Signals) -> None:
        if self._process is not None:
            self._spent_s += cpu_s(self._process.pid)
            self._process.send_signal(number)
            self._process.wait(20)
            self._process = None

    @property
    def cpu_s(self) -> float:
        """CPU seconds, those of earlier processes too."""
        return self._spent_s + (cpu_s(self._process.pid) if self._process is not None else 0.0)

    @property
    def peak_mb(self) -> float:
        """Most memory that the running process had."""
        return peak_mb(self._process.pid) if self._process is not None else 0.0

    def kept(self) -> int:
        """Messages in the tables."""
        with contextlib.closing(sqlite3.connect(self.path, timeout=20.0)) as connection:
            return int(connection.execute("SELECT coalesce(sum(last_seq), 0) FROM bench").fetchone()[0])

    def report(self) -> tuple[BenchReport, ...]:
        """What the tables say."""
        database = SqliteDatabase(self.path)
        try:
            return database.transaction(read_report).benches
        finally:
            database.close()


@contextlib.contextmanager
def sink_child(folder: Path, port: int) -> Iterator[SinkChild]:
    """Running; ended cleanly."""
    made = SinkChild(folder, port)
    made.start()
    try:
        yield made
    finally:
        made.end(signal.SIGTERM)


def cpu_s(pid: int) -> float:
    """CPU seconds of a process so far, user and system, all threads."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def peak_mb(pid: int) -> float:
    """Peak resident memory of a process."""
    lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024
