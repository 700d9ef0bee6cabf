"""Wires one bench's service: store, instruments, plant and local socket; ends it cleanly on a signal."""

from __future__ import annotations

import asyncio
import logging
import os
from collections.abc import Awaitable, Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from drivers.link_watch import LinkEvent
from logger.app import history
from logger.app.beat import Beat
from logger.app.bench_files import methods_and_files, read_bench, read_broker, read_rig
from logger.app.clock import BenchClock, utc_now
from logger.app.file_watch import watch_files
from logger.app.ids import UuidV7
from logger.app.instruments import bench_instruments, bench_profiles
from logger.app.log_file import log_to_file
from logger.app.loops import run_loop
from logger.app.office import make_office
from logger.app.paths import DataFolder
from logger.app.permit import permit_output
from logger.app.plan import bench_plan, software
from logger.app.seen_files import found_files, note_files
from logger.app.shift import job_desk, shift_questions
from logger.app.side_jobs import keep_going
from logger.app.signals import end_tasks, signal_future
from logger.app.sparkplug import with_sparkplug
from logger.app.store_watch import watch_store
from logger.core.method import Method
from logger.core.readings import Channel, Reading
from logger.core.run.live_estimator import make_live_rate
from logger.publish.board import view_without_broker
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from logger.service.bench_service import BenchService
from logger.service.bench_setup import BenchSetup
from logger.service.local_server import LocalServer
from logger.service.permit_desk import PermitDesk
from logger.service.picture import live_values
from logger.service.queries import Queries
from logger.settings import Bench
from logger.store.install import install_id
from logger.store.journal import Journal
from logger.store.lock import InstanceLock
from logger.store.outbox import SqliteOutbox
from logger.store.recover import close_open_runs
from logger.store.register import StoreRegister

LIVE_S = 1.0
SHIFT_S = 60.0
"""Real seconds between two looks at what is due; a look is some short reads."""
_LOG = logging.getLogger("lastgrain.service")


@dataclass(frozen=True, slots=True, kw_only=True)
class ServeOptions:
    """What `lastgrain serve` was asked for. `speed` and `simulated` belong to the virtual rig."""

    data: DataFolder
    bench_path: Path
    speed: float = 1.0
    simulated: bool = False


class NoPlant:
    """A bench without a broker."""

    def view(self) -> Any:
        """Says so."""
        return view_without_broker()

    def set_live(self, values: dict[str, Any]) -> None:
        """Nobody listens."""


def serve(options: ServeOptions) -> str:
    """Runs the service until a signal; gives the signal's name. Raises ConfigError, StoreError."""
    bench = read_bench(options.bench_path)
    os.umask(0o077)  # logs that are rotated and whatever SQLite makes are nobody else's business
    options.data.prepare()
    lock = InstanceLock(options.data.lock)
    try:
        log_to_file(options.data.log)
        return run_loop(_serve(options, bench))
    finally:
        lock.release()


async def _serve(options: ServeOptions, bench: Bench) -> str:
    journal = Journal(options.data.store, utc_now, UuidV7().new_id, on_failure=_store_failed)
    try:
        closed = await asyncio.to_thread(close_open_runs, journal, options.data.store)
        outbox = SqliteOutbox(journal.writer, utc_now)
        journal.on_message = outbox.poke
        client_id = await asyncio.wrap_future(journal.writer.submit(install_id))
        broker = read_broker(bench, options.bench_path, client_id)
        return await _run_bench(options, bench, journal, outbox, broker, len(closed))
    finally:
        await asyncio.to_thread(journal.close)


async def _run_bench(
    options: ServeOptions,
    bench: Bench,
    journal: Journal,
    outbox: SqliteOutbox,
    broker: BrokerSettings | None,
    interrupted_runs: int,
) -> str:
    clock = BenchClock(options.speed)
    publisher = None if broker is None else Publisher(broker, bench.site, bench.bench, outbox, clock)
    plant, more = with_sparkplug(publisher or NoPlant(), bench, broker, journal.writer, clock)
    permit = permit_output(
        bench.permit, clock.now_ns, lambda event: service.on_permit_link(event.state, event.text)
    )
    desk = None if permit is None else PermitDesk(permit, bench.permit.port, bench.permit.kind)
    register = StoreRegister(options.data.store, journal.writer, bench.checks)
    methods = methods_and_files(bench, options.bench_path)
    setup = _setup(options, bench, {name: method for name, (method, _) in methods.items()})
    service = BenchService(setup, clock, UuidV7(), journal, plant, desk, register)
    service.office = make_office(options.data, journal, setup.plan, setup.methods)
    service.office.reviews.on_revised = service.run_revised
    service.interrupted_runs = interrupted_runs
    service.jobs = job_desk(options.data, setup.plan, setup.rig, setup.methods)
    files = {name: path for name, (_, path) in methods.items()}
    found = found_files(bench, options.bench_path, files)
    await asyncio.to_thread(note_files, register, found, setup.plan, utc_now())
    watch_store(journal, service)

    def on_link(channel: Channel, event: LinkEvent) -> None:
        service.on_link(channel, event.state, event.text)

    beat = Beat(service.tick)

    def on_readings(readings: Sequence[Reading]) -> None:
        service.on_readings(readings)
        beat.moved()

    instruments = bench_instruments(bench, clock.now_ns, options.speed, on_readings, on_link)
    jobs: dict[str, Coroutine[Any, Any, None]] = {
        "mass": instruments[0].run(),
        "pressure": instruments[1].run(),
        "tick": beat.run(),
    }
    beside: dict[str, Callable[[], Awaitable[None]]] = {
        "live values": lambda: _live(service),
        "start of shift": lambda: _shift(service),
        "local socket": lambda: LocalServer(
            service, options.data.socket, _queries(options.data, service)
        ).run(),
        "file watch": lambda: watch_files(files, service.method_file_changed),
    }
    if permit is not None:
        jobs["permit"] = permit.run()
    if publisher is not None:
        beside["publisher"] = publisher.run
    beside |= more
    for name, make in beside.items():
        jobs[name] = keep_going(name, make, service.part_failed)
    return await _until_signal(service, jobs)


def _queries(data: DataFolder, service: BenchService) -> Queries:
    """The questions that consoles may ask."""
    shift = {} if service.jobs is None else shift_questions(service.jobs, service.setup.plan)
    queries = Queries({**history.questions(data), **shift})
    # A long history is put into its index once, in seconds: nobody should wait for that.
    queries.ask_ahead("runs", {"limit": 1})
    return queries


def _setup(options: ServeOptions, bench: Bench, methods: Mapping[str, Method]) -> BenchSetup:
    periods_s = {channel: profile.period_s for channel, profile in bench_profiles(bench).items()}
    return BenchSetup(
        plan=bench_plan(bench, options.speed, periods_s),
        methods=methods,
        rig=read_rig(bench, options.bench_path),
        software=software(),
        speed=options.speed,
        simulated=options.simulated,
        live_rate=make_live_rate,
        publish_readings=bench.broker is not None and bench.broker.readings,
        ports={Channel.MASS: bench.balance.port, Channel.PRESSURE: bench.pressure.port},
        profiles={Channel.MASS: bench.balance.profile, Channel.PRESSURE: bench.pressure.profile},
    )


async def _until_signal(service: BenchService, jobs: dict[str, Coroutine[Any, Any, None]]) -> str:
    """Runs the jobs side by side. A job that fails is a bug: the run is closed first, then it is raised."""
    stop = signal_future()
    tasks = [asyncio.create_task(job, name=name) for name, job in jobs.items()]
    everything: list[asyncio.Future[Any]] = [stop, *tasks]
    done, _ = await asyncio.wait(everything, return_when=asyncio.FIRST_COMPLETED)
    reason = stop.result() if stop in done else "a fault inside the service"
    stop.cancel()
    try:
        await service.end_open_run(f"the service was stopped ({reason})")
    finally:
        await end_tasks(tasks)
    return reason


async def _shift(service: BenchService) -> None:
    while True:
        await service.look_at_shift()
        await asyncio.sleep(SHIFT_S)


async def _live(service: BenchService) -> None:
    while True:
        await asyncio.sleep(LIVE_S)
        service.plant.set_live(live_values(service))


def _store_failed(error: Exception) -> None:
    _LOG.error("the store failed: %s", error)
