"""`lastgrain blank`: the guided blank run. It reads the instruments itself, so no service may hold the bench."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, TextIO

from drivers.link_watch import LinkEvent
from logger.app.bench_files import read_bench
from logger.app.clock import BenchClock, utc_now
from logger.app.instruments import bench_instruments
from logger.app.new_files import free_name
from logger.app.paths import DataFolder
from logger.app.signals import end_tasks, signal_future
from logger.core.blank import BlankReport, analyse_blank, blank_plan
from logger.core.blank_guide import BlankGuide
from logger.core.method import Method
from logger.core.readings import Channel, Reading
from logger.core.rig import Rig
from logger.core.run.cautions import CAUTIONS
from logger.core.trace import format_trace
from logger.settings import Bench, ConfigError
from logger.store.lock import InstanceLock

EXIT_OK, EXIT_REFUSED, EXIT_INTERRUPTED = 0, 3, 130
TELL_S = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankOptions:
    """`method` gives pressure and band; `out` is the rig file; `hold_s` how long each pressure is held."""

    data: DataFolder
    bench_path: Path
    method: Method
    out: Path
    hold_s: float
    speed: float


def blank(options: BlankOptions, say: TextIO | None = None) -> int:
    """Runs it: 0 with a rig file written, 3 when the run was refused, 130 when interrupted.

    Raises ConfigError, StoreError (a service holds the bench).
    """
    say = say or sys.stderr
    bench = read_bench(options.bench_path)
    if bench.arrangement != "under":
        raise ConfigError(
            options.bench_path, "a blank run needs the rig on the balance (arrangement = under)"
        )
    options.data.prepare()
    lock = InstanceLock(options.data.lock)
    try:
        return asyncio.run(_blank(options, bench, say))
    finally:
        lock.release()


async def _blank(options: BlankOptions, bench: Bench, say: TextIO) -> int:
    for caution in CAUTIONS:
        print(f"- {caution}", file=say)
    print("Type your name to acknowledge the cautions:", file=say, flush=True)
    name = (await asyncio.to_thread(sys.stdin.readline)).strip()
    if not name:
        print("No name given: nothing was done.", file=say)
        return EXIT_INTERRUPTED
    suction = options.method.suction
    guide = BlankGuide(blank_plan(suction.dp_pa, suction.band_pa, options.hold_s), suction.band_pa)
    if not await _follow(guide, options, bench, say):
        print("Interrupted: no rig file was written.", file=say)
        return EXIT_INTERRUPTED
    print("All steps are done: switch the suction off by hand.", file=say)
    return _judge(guide, options, bench, say)


async def _follow(guide: BlankGuide, options: BlankOptions, bench: Bench, say: TextIO) -> bool:
    """Reads until the last step is done (true) or a signal comes (false)."""
    over = asyncio.Event()

    def on_readings(readings: Sequence[Reading]) -> None:
        for reading in readings:
            if not guide.done and guide.add(reading):
                print(guide.where(), file=say, flush=True)
        if guide.done:
            over.set()

    def on_link(channel: Channel, event: LinkEvent) -> None:
        print(event.text, file=say, flush=True)

    async def tell() -> None:
        while True:
            print(guide.where(), file=say, flush=True)
            await asyncio.sleep(TELL_S)

    clock = BenchClock(options.speed)
    instruments = bench_instruments(bench, clock.now_ns, options.speed, on_readings, on_link)
    tasks = [asyncio.create_task(job) for job in (*(i.run() for i in instruments), tell())]
    stop = signal_future()
    waiting = asyncio.create_task(over.wait())
    everything: list[asyncio.Future[Any]] = [stop, waiting, *tasks]
    await asyncio.wait(everything, return_when=asyncio.FIRST_COMPLETED)
    stop.cancel()
    await end_tasks([*tasks, waiting])
    return guide.done


def _judge(guide: BlankGuide, options: BlankOptions, bench: Bench, say: TextIO) -> int:
    trace = guide.trace()
    # The readings behind the rig file in use stay, and so does that file: runs were judged with it.
    trace_path = free_name(options.out.with_suffix(".trace.csv"))
    _write(trace_path, "\n".join(format_trace(trace)) + "\n")
    suction = options.method.suction
    report = analyse_blank(
        trace,
        suction.dp_pa,
        suction.band_pa,
        readability_g=bench.balance.readability_g,
        balance_id=bench.balance.identity or None,
        measured_at=utc_now(),
        capacity_g=bench.balance.capacity_g,
    )
    for line in (*report.problems, *report.notes):
        print(line, file=say)
    if report.rig is None:
        print(f"Refused: no rig file was written. The readings are in {trace_path}.", file=say)
        return EXIT_REFUSED
    for earlier in _set_aside(options.out):
        print(f"The rig file that was there is kept as {earlier}.", file=say)
    _write(options.out, rig_toml(report.rig, report))
    print(options.out)
    return EXIT_OK


def rig_toml(rig: Rig, report: BlankReport) -> str:
    """The rig file: every figure that was found, one a line."""
    lines = ["# Written by `lastgrain blank`."]
    for field in fields(rig):
        value = getattr(rig, field.name)
        if isinstance(value, str):
            text = value.replace("\\", "\\\\").replace('"', '\\"')
            lines.append(f'{field.name} = "{text}"')
        elif value is not None:
            lines.append(f"{field.name} = {float(value)!r}")
    return "\n".join(lines) + "\n"


def _set_aside(path: Path) -> list[Path]:
    """Moves what lies there to the next free name; gives that name, or nothing."""
    aside = free_name(path)
    try:
        return [path.rename(aside)] if aside != path else []
    except OSError as error:
        raise ConfigError(path, f"cannot be put aside: {error.strerror}") from None


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ConfigError(path, f"cannot be written: {error.strerror}") from None
