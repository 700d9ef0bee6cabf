"""A whole bench behind the console, in virtual time: simulated bytes, real codecs, service, store and socket.

Bench time moves only when the test moves it, so that a ten-minute run takes seconds; keys go through the real
console, and are counted.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from textual.pilot import Pilot

from drivers.line_codec import LineCodec
from drivers.profile import LineProfile
from logger.app.bench_files import read_methods
from logger.app.ids import UuidV7
from logger.app.instruments import bench_profiles, to_core
from logger.app.paths import DataFolder
from logger.app.plan import bench_plan
from logger.app.shift import job_desk
from logger.console.app import ConsoleApp
from logger.core.readings import Channel
from logger.core.run.instruct import IDLE, instruction
from logger.core.run.live import no_live_rate
from logger.core.sieve_checks import LEAST_SIEVE_G
from logger.service.bench_service import BenchService
from logger.service.bench_setup import BenchSetup
from logger.service.client import ServiceClient
from logger.service.local_server import LocalServer
from logger.service.queries import Queries
from logger.service.shift_queries import shift_queries
from logger.settings import config_dir, load_bench
from logger.store.journal import Journal
from logger.store.register import StoreRegister
from simulators.virtual import VirtualBench
from tests.service.bench import NoPlant

STEP_NS, SECOND_NS = 100_000_000, 1_000_000_000
EPOCH = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)
HANDS_S = 12.0
"""Bench time that the simulated hands get for what was asked."""


class BenchTime:
    """Moved by the test alone."""

    def __init__(self) -> None:
        self.ns = 0

    def now_ns(self) -> int:
        return self.ns

    def utc(self) -> str:
        moment = EPOCH + timedelta(microseconds=self.ns // 1000)
        return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def suspended_s(self) -> float:
        return 0.0

    def wall_offset_s(self) -> float:
        return 0.0


class ConsoleBench:
    """`bench` text is a bench file; the methods are those it names."""

    def __init__(self, folder: Path, bench: str, scenario: str, seed: int) -> None:
        self.data = DataFolder(folder)
        self.data.prepare()
        path = folder / "bench.toml"
        path.write_text(bench, encoding="utf-8")
        loaded = load_bench(path)
        found = bench_profiles(loaded).items()
        self.profiles = {channel: profile for channel, profile in found if isinstance(profile, LineProfile)}
        self.codecs = {channel: LineCodec(profile) for channel, profile in self.profiles.items()}
        self.time = BenchTime()
        self.journal = Journal(self.data.store, self.time.utc, UuidV7().new_id, on_failure=_raise)
        self.plan = bench_plan(loaded)
        methods = read_methods(loaded, path)
        setup = BenchSetup(
            plan=self.plan,
            methods=methods,
            rig=None,
            software="lastgrain test",
            speed=1.0,
            simulated=True,
            live_rate=no_live_rate,
            ports=dict.fromkeys(Channel, "virtual"),
            profiles={channel: profile.name for channel, profile in self.profiles.items()},
        )
        register = StoreRegister(self.data.store, self.journal.writer, loaded.checks)
        self.service = BenchService(setup, self.time, UuidV7(), self.journal, NoPlant(), register=register)
        self.service.jobs = job_desk(self.data, self.plan, None, methods)
        self.virtual = VirtualBench(scenario, seed)
        self._polled_ns = 0
        for channel in Channel:
            self.service.on_link(channel, "up", "answers.")

    def queries(self) -> Queries:
        """What the console may ask."""
        assert self.service.jobs is not None
        return Queries(shift_queries(self.service.jobs, self.plan, self.time.utc))

    def step(self) -> None:
        """A tenth of a second of bench time."""
        self.time.ns += STEP_NS
        for channel, profile in self.profiles.items():
            if profile.mode == "polled" and self.time.ns >= self._polled_ns:
                self.virtual.write(channel.value, self.codecs[channel].request_bytes(), self.time.ns)
                self._polled_ns = self.time.ns + int(profile.period_s * 1e9)
        for at_ns, port, data in self.virtual.step_to(self.time.ns):
            codec = self.codecs[Channel(port)]
            codec.receive(data, at_ns)
            self.service.on_readings(to_core(Channel(port), codec.readings()))
        self.service.tick()
        self.virtual.follow(self.asked(), self.time.ns)

    def ready(self) -> bool:
        """Whether a person would press now: what is to be weighed is on the pan, and stands still."""
        mass = self.service.idle.mass(self.time.ns)
        weighs = self.asked().startswith("weigh_")
        return not weighs or (mass.stable and (mass.value_g or 0.0) > LEAST_SIEVE_G)

    def asked(self) -> str:
        """Key of the instruction that a person sees now."""
        engine = self.service.engine
        return (IDLE if engine is None else instruction(engine, self.time.ns)).key


class Hand:
    """The person at the keyboard. `keys` holds every press since `count_from_here`."""

    def __init__(self, bench: ConsoleBench, app: ConsoleApp, pilot: Pilot[int]) -> None:
        self.bench, self.app, self.pilot = bench, app, pilot
        self.keys: list[str] = []

    def count_from_here(self) -> None:
        """The sample id is in: what follows is deliberate."""
        self.keys = []

    def words(self) -> str:
        """What is on the screen, with single spaces."""
        strips = self.app.screen._compositor.render_strips()
        return " ".join("\n".join(strip.text for strip in strips).split())

    async def press(self, *keys: str) -> None:
        """Presses, after a look whether the key stands on the screen (letters of a field aside)."""
        for key in keys:
            name = {"enter": "Enter", "ctrl+s": "Ctrl+S", "escape": "Esc"}.get(key, key)
            assert f" {name} " in f" {self.words()} ", f"{name} is not on the screen:\n{self.words()}"
            self.keys.append(key)
            await self.pilot.press(key)
            await self.pilot.pause()

    async def type(self, text: str) -> None:
        """What a scanner does, or fingers in a field: no deliberate keys."""
        await self.pilot.press(*text)
        await self.pilot.pause()

    async def until_shown(self, words: str) -> None:
        """Real time: waits for the screen."""
        for _ in range(400):
            if words in self.words():
                return
            await self.pilot.pause(0.02)
        raise AssertionError(f"{words!r} is not shown:\n{self.words()}")

    async def until_asked(self, *keys: str, limit_s: float = 3000.0) -> str:
        """Bench time: until one of these instructions stands for as long as hands need."""
        begun_ns, since_ns = self.bench.time.ns, None
        while self.bench.time.ns - begun_ns < limit_s * 1e9:
            self.bench.step()
            if self.bench.asked() not in keys:
                since_ns = None
                if self.bench.time.ns % SECOND_NS == 0:
                    await asyncio.sleep(0)
                continue
            since_ns = self.bench.time.ns if since_ns is None else since_ns
            waited = self.bench.time.ns - since_ns > HANDS_S * 1e9 and self.bench.ready()
            if waited or self.bench.asked() == "finished":
                await self.settle()
                return self.bench.asked()
        raise AssertionError(f"none of {keys} was asked: {self.bench.asked()}")

    async def settle(self) -> None:
        """The service has sent what it has, and the screen shows it."""
        ending = [task for task in asyncio.all_tasks() if task.get_name() == "finish-run"]
        await asyncio.gather(*ending)
        self.bench.service.changed.set()
        await self.pilot.pause(0.15)


@contextlib.asynccontextmanager
async def console_bench(
    folder: Path,
    bench: str,
    scenario: str = "demo-filler",
    seed: int = 1,
    size: tuple[int, int] = (80, 24),
    operator: str = "j.tester",
) -> AsyncIterator[Hand]:
    """The bench served on its socket, and a console on it."""
    made = ConsoleBench(folder, bench, scenario, seed)
    server = LocalServer(made.service, made.data.socket, made.queries())
    serving = asyncio.create_task(server.run(), name="serve")
    app = ConsoleApp(ServiceClient(made.data.socket, retry_s=0.05), operator)
    app.ENTER_AFTER_S = 0.0
    try:
        async with app.run_test(size=size) as pilot:
            hand = Hand(made, app, pilot)
            for _ in range(40):
                made.step()
            await hand.until_shown("new run")
            yield hand
    finally:
        await made.service.end_open_run("the test is over")
        await asyncio.sleep(0.05)  # the console's connection ends by itself
        serving.cancel()
        await asyncio.gather(serving, return_exceptions=True)
        await asyncio.to_thread(made.journal.close)


def demo_bench(methods: str) -> str:
    """The example bench beside the rig, with these methods."""
    text = (config_dir() / "benches" / "demo-beside.toml").read_text(encoding="utf-8")
    return text.replace('methods = ["filler-45-interval"]', f"methods = [{methods}]")


def short_method(method_id: str, count: int, apertures: str = "aperture_um = 45.0") -> str:
    """A method file of one minute a run."""
    text = (config_dir() / "methods" / "cement-90-fixed.toml").read_text(encoding="utf-8")
    lines = []
    for line in text.splitlines():
        key = line.partition("=")[0].strip()
        changed = {
            "id": f'id = "{method_id}"',
            "aperture_um": apertures,
            "time_s": "time_s = 60.0",
            "min_time_s": "min_time_s = 30.0",
            "count": f"count = {count}",
            "correction": 'correction = "none"',
        }
        lines.append(changed.get(key, line))
    return "\n".join(lines)


def _raise(error: Exception) -> None:
    raise error
