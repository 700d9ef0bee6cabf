"""Fifty benches, one broker, one sink: `python -m tests.benchmarks.fleet storm|growth [BENCHES] [RUNS]`.

`storm` sends RUNS runs of each bench through outages of sink and broker, closes the gaps that a killed broker
left as a person would, and checks that every record is there once. `growth` measures what a message costs with
more benches and longer backlogs, prints a table and writes the chart of docs/fleet.md. Needs mosquitto.
"""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from tests.benchmarks.fleet_chart import chart
from tests.benchmarks.fleet_parts import (
    BEAT_S,
    FleetBench,
    SinkChild,
    benches,
    cpu_s,
    messages_a_run,
    peak_mb,
    publishing,
    sink_child,
)
from tests.publish.mosquitto import Mosquitto

BROKER = """allow_anonymous true
max_queued_messages 0
max_queued_bytes 0
max_inflight_messages 100
persistence true
persistence_location {folder}/
autosave_on_changes true
autosave_interval {every}
"""
CHART = Path(__file__).parents[2] / "docs" / "images" / "fleet.svg"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What so many benches with so many runs each cost. CPU in ms a message, with 20 ms steps of the system's count."""

    benches: int
    runs_each: int
    messages: int
    wall_s: float
    per_s: float
    bench_ms: float
    broker_ms: float
    sink_ms: float
    sink_mb: float
    broker_mb: float
    table_bytes: float


def broker_for(folder: Path, every: int) -> Mosquitto:
    home = folder / "broker"
    home.mkdir()
    return Mosquitto(home, BROKER.format(folder=home, every=every))


async def until(condition: Callable[[], bool], limit_s: float, every_s: float = 0.2) -> None:
    deadline = time.monotonic() + limit_s
    while not await asyncio.to_thread(condition):
        assert time.monotonic() < deadline, "waited in vain"
        await asyncio.sleep(every_s)


async def cost(count: int, runs: int) -> Cost:
    """All runs wait at the benches when the senders start."""
    total = count * runs * messages_a_run()
    with tempfile.TemporaryDirectory(prefix="lastgrain-fleet-") as name:
        folder = Path(name)
        with broker_for(folder, 1_000_000) as broker, sink_child(folder, broker.port) as sink:
            assert broker._process is not None
            pid = broker._process.pid
            async with benches(folder, count, broker.port) as fleet:
                for bench in fleet:
                    await bench.add_runs(runs)
                mine, theirs, sinks, begun = _own_cpu_s(), cpu_s(pid), sink.cpu_s, time.monotonic()
                async with publishing(fleet):
                    await until(lambda: sink.kept() == total, 3600.0)
                    wall_s = time.monotonic() - begun
                    return Cost(
                        benches=count,
                        runs_each=runs,
                        messages=total,
                        wall_s=wall_s,
                        per_s=total / wall_s,
                        bench_ms=1000 * (_own_cpu_s() - mine) / total,
                        broker_ms=1000 * (cpu_s(pid) - theirs) / total,
                        sink_ms=1000 * (sink.cpu_s - sinks) / total,
                        sink_mb=sink.peak_mb,
                        broker_mb=peak_mb(pid),
                        table_bytes=sink.path.stat().st_size / total,
                    )


def _own_cpu_s() -> float:
    spent = os.times()
    return spent.user + spent.system


@dataclass(slots=True)
class Storm:
    """What a run through outages showed."""

    benches: int
    runs: int
    messages: int = 0
    records: int = 0
    wall_s: float = 0.0
    duplicates: int = 0
    out_of_order: int = 0
    lost_by_broker: int = 0
    rounds_of_republish: int = 0
    missing: int = 0


async def storm(count: int, runs: int, pace: float = 1.0) -> Storm:
    """Half of the runs wait when the senders start, half come while they send. `pace` scales the outages."""
    found = Storm(benches=count, runs=runs)
    total = count * runs * messages_a_run()
    begun = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="lastgrain-fleet-") as name:
        folder = Path(name)
        with broker_for(folder, 500) as broker, sink_child(folder, broker.port) as sink:
            async with benches(folder, count, broker.port) as fleet:
                for bench in fleet:
                    await bench.add_runs(runs // 2)
                async with publishing(fleet):
                    feeding = asyncio.create_task(_feed(fleet, runs - runs // 2))
                    await _outages(broker, sink, total, pace)
                    await feeding
                    await _sent(fleet)
                    await _close_gaps(found, fleet, sink)
            reports = sink.report()
    found.wall_s = time.monotonic() - begun
    found.messages = sum(report.messages for report in reports)
    found.records = sum(report.records for report in reports)
    found.duplicates = sum(report.duplicates for report in reports)
    found.out_of_order = sum(report.out_of_order for report in reports)
    found.missing = total - found.messages + sum(report.missing_count for report in reports)
    return found


async def _feed(fleet: list[FleetBench], runs: int) -> None:
    for _ in range(runs):
        for bench in fleet:
            await bench.add_runs(1)
        await asyncio.sleep(0.05)


async def _outages(broker: Mosquitto, sink: SinkChild, total: int, pace: float) -> None:
    """At fixed shares of what is to come, so that a slow machine has the same ones."""

    async def reached(share: float) -> None:
        await until(lambda: sink.kept() >= share * total, 3600.0)

    await reached(0.1)
    await asyncio.to_thread(sink.end, signal.SIGKILL)
    await asyncio.sleep(2.0 * pace)
    await asyncio.to_thread(sink.start)
    await reached(0.3)
    broker.stop()
    await asyncio.sleep(2.0 * pace)
    broker.start()
    await reached(0.5)
    broker.signal(signal.SIGSTOP)
    await asyncio.sleep(5.0 * pace)
    broker.signal(signal.SIGCONT)
    await reached(0.7)
    broker.kill()
    await asyncio.sleep(1.0 * pace)
    broker.start()


async def _sent(fleet: list[FleetBench]) -> None:
    while sum([await bench.waiting() for bench in fleet]):  # noqa: ASYNC110 - nothing to wait for but the count
        await asyncio.sleep(0.2)


async def _close_gaps(found: Storm, fleet: list[FleetBench], sink: SinkChild) -> None:
    """What the report asks for, done at the benches as a person would, until nothing is asked for."""
    by_name = {bench.name: bench for bench in fleet}
    while True:
        await _settled(sink, found.runs * messages_a_run())
        asked = [report for report in await asyncio.to_thread(sink.report) if report.republish]
        if not asked:
            return
        found.rounds_of_republish += 1
        assert found.rounds_of_republish < 10
        if found.rounds_of_republish == 1:
            found.lost_by_broker = sum(report.missing_count + report.behind for report in asked)
        for report in asked:
            for command in report.republish:
                words = command.split()
                first, last = words[words.index("--from") + 1], words[words.index("--to") + 1]
                await by_name[report.bench].send_again(int(first), int(last))
        await _sent(fleet)


async def _settled(sink: SinkChild, last_seq: int) -> None:
    """The sink is connected and knows what the benches say, and nothing more comes for longer than their beat."""
    await until(lambda: all(report.said_seq >= last_seq for report in sink.report()), 120.0)
    before: tuple[tuple[int, int], ...] = ()
    while before != (now := tuple((r.messages, r.duplicates) for r in await asyncio.to_thread(sink.report))):
        before = now
        await asyncio.sleep(BEAT_S + 1.0)


def growth() -> list[Cost]:
    """More benches with 20 runs each, then longer backlogs of one bench."""
    made = [(1, 20), (5, 20), (10, 20), (25, 20), (50, 20), (1, 100), (1, 400), (1, 1600)]
    costs = []
    for count, runs in made:
        costs.append(asyncio.run(cost(count, runs)))
        print(json.dumps(asdict(costs[-1])), flush=True)
    return costs


def main() -> int:
    """See the module's head."""
    what = sys.argv[1]
    if what == "growth":
        CHART.write_text(chart(growth()), encoding="utf-8")
        return 0
    count, runs = (int(word) for word in sys.argv[2:4])
    found = asyncio.run(storm(count, runs))
    print(json.dumps(asdict(found)))
    return 0 if found.missing == 0 and found.records == count * runs else 1


if __name__ == "__main__":
    sys.exit(main())
