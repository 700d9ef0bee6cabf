"""Random hands, readings, faults and commands: whatever happens, the run's promises hold."""

from __future__ import annotations

import dataclasses

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from logger.core.readings import Channel, Quality, Reading
from logger.core.record import ChainHead, build_record
from logger.core.run.commands import Command, Do
from logger.core.run.engine import RunEngine
from logger.core.run.events import Event, EventKind
from logger.core.run.facts import fold
from logger.core.run.instruct import instruction
from logger.core.run.plan import RunPlan, Sample, canonical_json
from logger.core.run.states import ENDED, RunState
from logger.core.run.view import run_view
from tests.core.run.plans import bench_plan, interval_method

AFTER_THE_END = (EventKind.NOTED, EventKind.SIEVE_CARED, EventKind.CLOSED)
TARE_G = 400.0


class RunMachine(RuleBasedStateMachine):
    """A person who does anything at any time, with instruments that fail."""

    @initialize(steps=st.integers(0, 25))
    def begin(self, steps: int) -> None:
        plan = RunPlan(
            run_id="run",
            sample=Sample(sample_id="S", operator_id="O"),
            method=interval_method(),
            aperture_um=45.0,
            bench=bench_plan(),
            rig=None,
            software="test",
        )
        self.now_ns = 0
        self.engine = RunEngine(plan, 0, lambda: f"2026-01-05T06:00:{self.now_ns // 10**9 % 60:02d}.000Z")
        self.events: list[Event] = []
        self.dp_pa = 0.0
        self.load_g = 25.0
        self.ended_at: int | None = None
        self.effective_s = 0.0
        for _ in range(steps):
            self.as_asked()

    def seconds(self, count: int, mass_g: float | None, stable: bool = True) -> None:
        for _ in range(count):
            self.now_ns += 10**9
            quality = Quality.OK if mass_g is not None else Quality.REJECTED
            self.engine.on_reading(Reading(Channel.MASS, self.now_ns, mass_g, quality, stable, 0.001, "m"))
            self.engine.on_reading(
                Reading(Channel.PRESSURE, self.now_ns, self.dp_pa, Quality.OK, None, 1.0, "p")
            )
            self.engine.tick(self.now_ns)
        self.events += self.engine.take_events()

    def do(self, do: Do, **args: object) -> bool:
        reply = self.engine.command(Command(do, "someone", dict(args)), self.now_ns)
        assert reply.text
        self.events += self.engine.take_events()
        return reply.ok

    @rule(seconds=st.integers(1, 8), on=st.booleans())
    def suction(self, seconds: int, on: bool) -> None:
        self.dp_pa = 2500.0 if on else 0.0
        self.seconds(seconds, 0.0)
        if on and self.engine.state is RunState.SIEVING:
            self.load_g *= 0.99

    @rule(
        seconds=st.integers(1, 5), what=st.sampled_from(["sieve", "loaded", "nothing", "garbage", "moving"])
    )
    def balance(self, seconds: int, what: str) -> None:
        self.dp_pa = 0.0
        masses = {
            "sieve": TARE_G,
            "loaded": TARE_G + self.load_g,
            "nothing": 0.0,
            "garbage": None,
            "moving": 300.0,
        }
        self.seconds(seconds, masses[what], stable=what != "moving")

    @rule()
    def as_asked(self) -> None:
        """What the instruction says, done right: so that runs also get to their end."""
        key = instruction(self.engine, self.now_ns).key
        if key == "acknowledge_cautions":
            self.do(Do.ACKNOWLEDGE, name="someone")
        elif key in ("weigh_empty_sieve", "weigh_charge", "weigh_sieve"):
            self.dp_pa = 0.0
            self.seconds(4, TARE_G + (0.0 if key == "weigh_empty_sieve" else self.load_g))
            self.do(Do.ACCEPT_WEIGHT)
        elif key in ("switch_suction_on", "sieving"):
            self.dp_pa = 2500.0
            self.seconds(20, 0.0)
            self.load_g = max(2.0, self.load_g * 0.7)
        else:
            self.dp_pa = 0.0
            self.seconds(6, 0.0)

    @rule(steps=st.integers(2, 8))
    def well_behaved(self, steps: int) -> None:
        for _ in range(steps):
            self.as_asked()

    @rule(seconds=st.integers(1, 40))
    def silence(self, seconds: int) -> None:
        for _ in range(seconds):
            self.now_ns += 10**9
            self.engine.tick(self.now_ns)
        self.events += self.engine.take_events()

    @rule(
        do=st.sampled_from([d for d in Do if d not in (Do.ABORT, Do.CLOSE)]),
        reason=st.sampled_from(["", "why"]),
    )
    def command(self, do: Do, reason: str) -> None:
        self.do(do, reason=reason, name="someone", mass_g=TARE_G + self.load_g, kind="lid-tapped")

    @rule(channel=st.sampled_from(list(Channel)), state=st.sampled_from(["up", "lost", "silent"]))
    def link(self, channel: Channel, state: str) -> None:
        self.engine.on_link(channel, state, "told", self.now_ns)
        self.events += self.engine.take_events()

    @precondition(lambda self: len(self.events) > 90)
    @rule()
    def abort(self) -> None:
        self.do(Do.ABORT, reason="enough")

    @invariant()
    def events_tell_the_run_again(self) -> None:
        if not hasattr(self, "events") or not self.events:
            return
        again = fold(self.events)
        assert dataclasses.asdict(again) == dataclasses.asdict(self.engine.run.facts)
        times = [event.at_ns for event in self.events]
        assert times == sorted(times)

    @invariant()
    def an_ended_run_stays_ended(self) -> None:
        if not hasattr(self, "engine"):
            return
        if self.engine.state in ENDED:
            count = sum(1 for e in self.events if e.kind not in AFTER_THE_END)
            self.ended_at = count if self.ended_at is None else self.ended_at
            assert count == self.ended_at

    @invariant()
    def a_record_without_endpoint_never_reads_as_one(self) -> None:
        if not hasattr(self, "engine") or self.engine.state not in ENDED:
            return
        facts = self.engine.run.facts
        body = build_record("run", facts, ChainHead(1, "0" * 64)).body()
        canonical_json(body)
        kinds = {event.kind for event in self.events}
        assert (body["result"] is None) == (
            self.engine.state not in (RunState.AWAITING_REVIEW, RunState.CLOSED)
        )
        if body["outcome"] == "endpoint":
            assert EventKind.STOPPED not in kinds
            assert body["endpoint"]["value"] + 2 * body["endpoint"]["value_u"] <= 0.125 + 1e-9

    @invariant()
    def effective_time_only_grows_and_the_view_can_be_drawn(self) -> None:
        if not hasattr(self, "engine"):
            return
        effective_s = self.engine.run.pressure.effective_s
        assert self.effective_s <= effective_s <= self.now_ns / 1e9 * 1.1 + 1e-9
        self.effective_s = effective_s
        assert instruction(self.engine, self.now_ns).text
        assert run_view(self.engine, "run", self.now_ns).effective_s == effective_s

    @invariant()
    def the_lid_is_never_declared_open_under_pressure(self) -> None:
        if hasattr(self, "engine") and self.engine.run.pressure.lid_may_open(self.now_ns):
            assert self.dp_pa < 50


RunMachine.TestCase.settings = settings(
    max_examples=40,
    stateful_step_count=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
TestRunMachine = RunMachine.TestCase
