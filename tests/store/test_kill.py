"""kill -9 at any instant: the store is whole, the run ends as interrupted, nothing acknowledged is missing."""

from __future__ import annotations

import asyncio
import os
import random
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import pytest

from logger.core.record import ChainHead
from logger.core.run.words import event_text
from logger.store import history
from logger.store.batches import run_batches
from logger.store.recover import close_open_runs
from logger.store.verify import verify
from tests.store.disk import ROOT
from tests.store.quick_runs import findings, open_journal, reading_of
from tests.system.real_bench import START, RealBench, real_bench

UNACKNOWLEDGED_S = 0.25
SLACK_S = 0.35
"""For a machine that runs other tests at the same time."""

WRITES = """
import sys
from pathlib import Path
from tests.store.quick_runs import keep, open_journal, open_run, reading_of, short_run
from logger.store.history import list_runs, reading
from logger.store.recover import close_open_runs
path, seed = Path(sys.argv[1]), int(sys.argv[2])
whole, run = short_run(10_000 + seed, 200), open_run(seed)
journal = open_journal(path)
print("started", flush=True)
close_open_runs(journal, path)
keep(journal, whole)
print("record", journal.flush().result(), 0, flush=True)
journal.start_run(run.run_id, run.events[0]).result()
place = 0
while True:
    journal.add(run.run_id, [], [reading_of(seed, place + i) for i in range(7)])
    place += 7
    print("readings", journal.flush().result(), place, flush=True)
"""


def writer_killed(path: Path, seed: int, chance: random.Random) -> list[list[str]]:
    """Starts the writer on the store, kills it within its first half second or so; its acknowledgements."""
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", WRITES, str(path), str(seed)]
    child = subprocess.Popen(command, stdout=subprocess.PIPE, env=environment, cwd=ROOT)
    assert child.stdout is not None
    assert child.stdout.readline() == b"started\n"
    time.sleep(chance.uniform(0.0, 0.6))
    child.send_signal(signal.SIGKILL)
    lines = child.stdout.read().decode().split("\n")[:-1]
    child.wait()
    child.stdout.close()
    return [line.split(" ") for line in lines]


def check_store(path: Path, seed: int, acks: list[list[str]]) -> None:
    run_id = f"00000000-0000-7000-8000-{seed:012d}"
    with history.reading(path) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        if not acks:
            assert all(one.sound for one in verify(connection))
            return
        batch, _, sha256 = acks[-1][1].partition(":")
        assert [one.verdict for one in verify(connection, ChainHead(int(batch), sha256))] == ["whole"]
        kept = history.run_readings(connection, run_id)
    assert kept == [reading_of(seed, place) for place in range(len(kept))]
    assert len(kept) >= int(acks[-1][2])
    assert len(kept) % 7 == 0, "half a hand-over"


def kill_writers(tmp_path: Path, kills: int, seed: int) -> None:
    path, chance, acknowledged = tmp_path / "s.sqlite", random.Random(seed), 0
    for number in range(1, kills + 1):
        acks = writer_killed(path, number, chance)
        acknowledged += len(acks)
        check_store(path, number, acks)
    journal = open_journal(path)
    assert journal.notices == []
    close_open_runs(journal, path)
    journal.close()
    with history.reading(path) as connection:
        assert "" not in {row.outcome for row in history.list_runs(connection, 10_000)}
    assert all(one.sound for one in findings(path))
    print(f"{kills} kills (seed {seed}), {acknowledged} acknowledgements, none lost")
    assert acknowledged > kills


def test_a_writer_at_full_pace_survives_a_few_kills(tmp_path: Path) -> None:
    kill_writers(tmp_path, kills=4, seed=1)


@pytest.mark.full
def test_a_writer_at_full_pace_survives_20_kills(tmp_path: Path) -> None:
    kill_writers(tmp_path, kills=20, seed=2)


@pytest.mark.soak
def test_a_writer_at_full_pace_survives_200_kills(tmp_path: Path) -> None:
    kill_writers(tmp_path, kills=200, seed=3)


class Witness:
    """Notes when it first saw each event on the screen."""

    def __init__(self, bench: RealBench) -> None:
        self._bench = bench
        self.seen: dict[tuple[str, str, str], float] = {}

    async def watch(self) -> None:
        while True:
            picture = self._bench.picture()
            for event in () if picture is None else picture.events:
                self.seen.setdefault((event.utc, event.kind, event.text), time.monotonic())
            await asyncio.sleep(0.01)


def moment_s(utc: str) -> float:
    return datetime.strptime(utc, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC).timestamp()


async def one_kill(bench: RealBench, after_s: float) -> float:
    """A run that is killed after so long, and the next start; seconds of readings that were not kept."""
    await bench.until(lambda p: all(link.state == "up" for link in p.links) and "start" in p.can, limit_s=30)
    await bench.do("start", **START)
    witness = Witness(bench)
    jobs = [
        asyncio.create_task(witness.watch()),
        asyncio.create_task(bench.operate("awaiting_review", limit_s=300)),
    ]
    await asyncio.sleep(after_s)
    killed_s, killed_at_s = time.time(), time.monotonic()
    bench.end_service(signal.SIGKILL)
    for job in jobs:
        job.cancel()
    await asyncio.gather(*jobs, return_exceptions=True)
    bench.start_service()
    await bench.until(lambda p: moment_s(p.utc) > killed_s + 0.2 and "start" in p.can, limit_s=30)
    acknowledged = {what for what, at_s in witness.seen.items() if at_s < killed_at_s - UNACKNOWLEDGED_S}
    return check_bench(bench, acknowledged, killed_s)


def check_bench(bench: RealBench, acknowledged: set[tuple[str, str, str]], killed_s: float) -> float:
    with history.reading(bench.data.store) as connection:
        rows = history.list_runs(connection, 1000)
        run_id = rows[0].run_id
        events = history.run_events(connection, run_id)
        batches = [
            moment_s(batch.content.utc) for batch in run_batches(connection, run_id) if batch.content.readings
        ]
        body = history.record_body(connection, run_id)
        found = verify(connection)
    kept = {(event.utc, event.kind.value, event_text(event.kind, event.data)) for event in events}
    assert acknowledged <= kept, acknowledged - kept
    assert [one.verdict for one in found] == ["no-outside-head"]
    assert "" not in {row.outcome for row in rows}
    assert body is not None
    assert (body["outcome"], body["result"]) == ("interrupted", None)
    return killed_s - max(moment for moment in batches if moment <= killed_s)


async def kill_services(tmp_path: Path, kills: int, seed: int, longest_s: float) -> None:
    chance = random.Random(seed)
    async with real_bench(tmp_path, speed=30.0) as bench:
        missing_s = [await one_kill(bench, chance.uniform(0.7, longest_s)) for _ in range(kills)]
    print(
        f"{kills} kills (seed {seed}); readings not kept before the kill, s: {[round(s, 2) for s in missing_s]}"
    )
    assert max(missing_s) <= UNACKNOWLEDGED_S + SLACK_S


@pytest.mark.asyncio
async def test_the_service_on_real_ports_survives_two_kills(tmp_path: Path) -> None:
    await kill_services(tmp_path, kills=2, seed=4, longest_s=2.0)


@pytest.mark.full
@pytest.mark.asyncio
async def test_the_service_on_real_ports_survives_20_kills(tmp_path: Path) -> None:
    await kill_services(tmp_path, kills=20, seed=5, longest_s=8.0)


@pytest.mark.soak
@pytest.mark.asyncio
async def test_the_service_on_real_ports_survives_200_kills(tmp_path: Path) -> None:
    await kill_services(tmp_path, kills=200, seed=6, longest_s=12.0)
