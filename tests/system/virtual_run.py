"""A whole run in virtual time: simulated bytes through the real codec into the real run engine.

No port, loop, thread, sleep or wall clock: the same seed gives the same bytes, events and record.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from drivers.line_codec import LineCodec
from drivers.profile import LineProfile
from logger.app.instruments import bench_profiles, to_core
from logger.app.plan import bench_plan
from logger.core.method import Method
from logger.core.readings import Channel, Reading
from logger.core.rig import Rig
from logger.core.run.commands import Command, Do, Reply
from logger.core.run.engine import RunEngine
from logger.core.run.events import Event
from logger.core.run.instruct import instruction
from logger.core.run.live import LiveRate, no_live_rate
from logger.core.run.plan import RunPlan, Sample
from logger.core.run.states import RunState
from logger.settings import Bench, config_dir, load_bench, load_method
from simulators.virtual import VirtualBench

STEP_NS = 50_000_000
EPOCH = datetime(2026, 1, 5, 6, 0, tzinfo=UTC)


@dataclass
class VirtualRun:
    """Bench, codecs, engine and a willing operator, moved by `step`."""

    bench: Bench
    virtual: VirtualBench
    engine: RunEngine
    now_ns: int = 0
    events: list[Event] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    replies: list[Reply] = field(default_factory=list)
    operator: bool = True
    on_bytes: Callable[[Channel, bytes], bytes] = lambda channel, data: data
    next_poll_ns: int = 0
    asked: tuple[str, int] = ("", 0)

    def __post_init__(self) -> None:
        found = bench_profiles(self.bench).items()
        self.profiles = {channel: profile for channel, profile in found if isinstance(profile, LineProfile)}
        self.codecs = {channel: LineCodec(profile) for channel, profile in self.profiles.items()}

    def step(self) -> None:
        """One twentieth of a second of bench time."""
        self.now_ns += STEP_NS
        self._poll()
        for at_ns, channel, data in self.virtual.step_to(self.now_ns):
            self._receive(Channel(channel), self.on_bytes(Channel(channel), data), at_ns)
        self.engine.tick(self.now_ns)
        key = instruction(self.engine, self.now_ns).key
        self.virtual.follow(key, self.now_ns)
        if key != self.asked[0]:
            self.asked = (key, self.now_ns)
        if self.operator:
            self._operate()
        self.events += self.engine.take_events()

    def until(self, *states: RunState, limit_s: float = 4000.0) -> None:
        """Step until one of `states`; fails when that takes longer than `limit_s` of bench time."""
        end_ns = self.now_ns + int(limit_s * 1e9)
        while self.engine.state not in states:
            assert self.now_ns < end_ns, f"still {self.engine.state} after {limit_s} s"
            self.step()

    def do(self, do: Do, **args: object) -> Reply:
        """A command by the operator, at this instant."""
        reply = self.engine.command(Command(do, "op-7", dict(args)), self.now_ns)
        self.replies.append(reply)
        self.events += self.engine.take_events()
        return reply

    def _poll(self) -> None:
        for channel, profile in self.profiles.items():
            if profile.mode == "polled" and self.now_ns >= self.next_poll_ns:
                self.virtual.write(channel.value, self.codecs[channel].request_bytes(), self.now_ns)
                self.next_poll_ns = self.now_ns + int(profile.period_s * 1e9)

    def _receive(self, channel: Channel, data: bytes, at_ns: int) -> None:
        codec = self.codecs[channel]
        codec.receive(data, at_ns)
        for reading in to_core(channel, codec.readings()):
            self.readings.append(reading)
            self.engine.on_reading(reading)

    def _operate(self) -> None:
        can = self.engine.can()
        if Do.ACKNOWLEDGE in can:
            self.do(Do.ACKNOWLEDGE, name="op-7")
        elif Do.ACCEPT_WEIGHT in can and self.now_ns - self.asked[1] > 8e9:
            self.do(Do.ACCEPT_WEIGHT)


def shipped_method(name: str) -> Method:
    """A method from config/."""
    return load_method(config_dir() / "methods" / f"{name}.toml")


def virtual_run(
    method: Method,
    scenario: str = "demo-filler",
    seed: int = 1,
    bench_name: str = "demo-beside",
    rig: Rig | None = None,
    live_rate: Callable[[RunPlan, float], LiveRate] = no_live_rate,
) -> VirtualRun:
    """A planned run on a fresh simulated bench."""
    bench = load_bench(config_dir() / "benches" / f"{bench_name}.toml")
    periods_s = {channel: profile.period_s for channel, profile in bench_profiles(bench).items()}
    plan = RunPlan(
        run_id=f"00000000-0000-7000-8000-{seed:012d}",
        sample=Sample(sample_id="S-1", operator_id="op-7", lot="L-1"),
        method=method,
        aperture_um=method.sieve.all_um[0],
        bench=bench_plan(bench, periods_s=periods_s),
        rig=rig,
        software="lastgrain test",
        simulated=True,
    )
    virtual = VirtualBench(scenario, seed, arrangement=bench.arrangement)
    run: list[VirtualRun] = []

    def utc() -> str:
        now_ns = run[0].now_ns if run else 0
        moment = EPOCH + timedelta(microseconds=now_ns // 1000)
        return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    run.append(VirtualRun(bench, virtual, RunEngine(plan, 0, utc, live_rate)))
    return run[0]
