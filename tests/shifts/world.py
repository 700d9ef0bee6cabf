"""One bench in virtual time: simulated bytes, real codecs, the real service on a real store.

No port and no sleep. The service can be stopped, and the computer's power cut: the store is then what was
committed at that instant.
"""

from __future__ import annotations

import asyncio
import itertools
import shutil
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from drivers.line_codec import LineCodec
from drivers.profile import LineProfile
from logger.app.instruments import bench_profiles, to_core
from logger.app.plan import bench_plan
from logger.app.store_watch import watch_store
from logger.core.method import Method
from logger.core.readings import Channel
from logger.core.run.instruct import IDLE, instruction
from logger.core.run.live_estimator import make_live_rate
from logger.core.snapshot import LinkState
from logger.service.bench_service import BenchService
from logger.service.bench_setup import BenchSetup
from logger.settings import config_dir, load_bench, load_rig
from logger.store.journal import Journal
from logger.store.recover import close_open_runs
from logger.store.register import StoreRegister
from simulators.scenarios import find_scenario
from simulators.virtual import VirtualBench
from tests.service.bench import NoPlant
from tests.system.virtual_run import shipped_method

STEP_NS = 50_000_000
TICKS_EVERY = 2
LOOKS_EVERY = 5
EPOCH = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)

BENCHES = {
    "beside": ("demo-beside", ("filler-45-interval", "excipient-75-change", "cement-90-fixed")),
    "under": ("demo-under", ("filler-45-live", "pvc-63-live")),
}
SCENARIOS = {
    "beside": ("demo-filler", "easy", "agglomerates", "coarse", "tiny-residue", "loading-filter"),
    "under": ("demo-filler", "easy", "slow-tail", "agglomerates"),
}


class ShiftClock:
    """Bench time moved by the world; the wall beside it can be stepped."""

    def __init__(self) -> None:
        self.ns = 0
        self.step_s = 0.0

    def now_ns(self) -> int:
        return self.ns

    def utc(self) -> str:
        moment = EPOCH + timedelta(microseconds=self.ns // 1000, seconds=self.step_s)
        return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def suspended_s(self) -> float:
        return 0.0

    def wall_offset_s(self) -> float:
        return self.step_s


class Ids:
    """Ids that rise, the same for the same seed."""

    def __init__(self, seed: int) -> None:
        self._seed, self._numbers = seed, itertools.count(1)

    def new_id(self) -> str:
        return f"{self._seed:08x}-0000-7000-8000-{next(self._numbers):012x}"


class World:
    """Bench, service and store. Each powder is a rig of its own; the service sees the same two ports."""

    def __init__(self, folder: Path, seed: int, arrangement: str) -> None:
        name, methods = BENCHES[arrangement]
        self.arrangement, self.seed = arrangement, seed
        self.clock, self.ids = ShiftClock(), Ids(seed)
        self.bench = load_bench(config_dir() / "benches" / f"{name}.toml")
        self.methods: dict[str, Method] = {
            method.method.id: method for method in map(shipped_method, methods)
        }
        found = bench_profiles(self.bench).items()
        self.profiles = {channel: profile for channel, profile in found if isinstance(profile, LineProfile)}
        self._folder, self._stores, self._steps, self._powders = folder, itertools.count(1), 0, 0
        self.blind_run = ""
        self.failures: list[Exception] = []
        self.rig = load_rig(config_dir() / "rigs" / "demo-platform.toml") if arrangement == "under" else None
        self.new_powder(next(iter(self.methods.values())))
        self.store = self._next_store()

    # --- the service ------------------------------------------------------------------------------------

    async def start(self) -> None:
        """Open the store and begin to serve."""
        self.journal = Journal(self.store, self.clock.utc, self.ids.new_id, on_failure=self.failures.append)
        await asyncio.to_thread(close_open_runs, self.journal, self.store)
        register = StoreRegister(self.store, self.journal.writer, self.bench.checks)
        self.service = BenchService(
            self._setup(), self.clock, self.ids, self.journal, NoPlant(), register=register
        )
        watch_store(self.journal, self.service)
        for channel in Channel:
            self.plug(channel, self.virtual.plugged[channel.value])

    async def stop(self) -> None:
        """As a signal does."""
        await self.service.end_open_run("the service was stopped (SIGTERM)")
        await asyncio.to_thread(self.journal.close)

    async def cut_power(self) -> None:
        """What was committed goes on; the rest is gone, and so is the service."""
        copied = self._next_store()

        def copy(connection: sqlite3.Connection) -> None:
            for end in ("", "-wal"):
                shutil.copyfile(f"{self.store}{end}", f"{copied}{end}")

        await asyncio.wrap_future(self.journal.writer.submit(copy, after_pending=False))
        await asyncio.to_thread(self.journal.close)
        self.store = copied

    def _next_store(self) -> Path:
        return self._folder / f"store-{next(self._stores)}.sqlite"

    def _setup(self) -> BenchSetup:
        periods_s = {channel: profile.period_s for channel, profile in self.profiles.items()}
        return BenchSetup(
            plan=bench_plan(self.bench, periods_s=periods_s),
            methods=self.methods,
            rig=self.rig,
            software="lastgrain shifts",
            speed=1.0,
            simulated=True,
            live_rate=make_live_rate,
            publish_readings=True,
            ports=dict.fromkeys(Channel, "virtual"),
            profiles={channel: profile.name for channel, profile in self.profiles.items()},
        )

    # --- the bench --------------------------------------------------------------------------------------

    def new_powder(self, method: Method) -> None:
        """Another sample: a fresh rig with another seed and scenario, at the same clock, set for `method`."""
        names = SCENARIOS[self.arrangement]
        self._powders += 1
        name = names[(self.seed + self._powders) % len(names)]
        scenario = find_scenario(name, "under" if self.arrangement == "under" else "beside")
        scenario = replace(scenario, dp_nominal_pa=method.suction.dp_pa)
        self.virtual = VirtualBench(scenario, 1000 * self.seed + self._powders, start_ns=self.clock.ns)
        self.codecs = {channel: LineCodec(profile) for channel, profile in self.profiles.items()}
        self._polled_ns = dict.fromkeys(self.profiles, self.clock.ns)

    def plug(self, channel: Channel, is_in: bool) -> None:
        """The cable in or out, and what the driver says of it."""
        self.virtual.plugged[channel.value] = is_in
        self.codecs[channel] = LineCodec(self.profiles[channel])
        state: LinkState = "up" if is_in else "lost"
        self.service.on_link(channel, state, "answers." if is_in else "The cable is out.")

    async def step(self) -> None:
        """One twentieth of a second."""
        self._steps += 1
        self.clock.ns += STEP_NS
        self._poll()
        for at_ns, port, data in self.virtual.step_to(self.clock.ns):
            codec = self.codecs[Channel(port)]
            codec.receive(data, at_ns)
            self.service.on_readings(to_core(Channel(port), codec.readings()))
        if self._steps % TICKS_EVERY == 0:
            self.service.tick()
        if self._steps % LOOKS_EVERY == 0:
            self.virtual.follow(self.asked(), self.clock.ns)
        await self.settle()

    def asked(self) -> str:
        """Key of the instruction on the screen."""
        engine = self.service.engine
        return (IDLE if engine is None else instruction(engine, self.clock.ns)).key

    def _poll(self) -> None:
        for channel, profile in self.profiles.items():
            if profile.mode == "polled" and self.clock.ns >= self._polled_ns[channel]:
                self.virtual.write(channel.value, self.codecs[channel].request_bytes(), self.clock.ns)
                self._polled_ns[channel] = self.clock.ns + int(profile.period_s * 1e9)

    async def settle(self) -> None:
        """Bench time stands still while the store writes a record."""
        await asyncio.sleep(0)
        engine = self.service.engine
        if engine is not None and engine.ended:
            await asyncio.gather(*(task for task in asyncio.all_tasks() if task.get_name() == "finish-run"))
