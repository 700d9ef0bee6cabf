"""When the suction is permitted: over a whole run in virtual time, with a simulated relay and rig behind it."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from drivers.permit import LineRelay
from logger.core.run.commands import Do
from logger.core.run.events import EventKind as E
from logger.core.run.permit import permit_wanted
from logger.core.run.states import JET, RunState
from logger.core.run.words import event_text
from simulators.virtual import Sent, VirtualBench
from tests.system.virtual_run import VirtualRun, shipped_method, virtual_run

LINES = LineRelay("K1", "K0")


class WithRelay(VirtualBench):
    """What the relay answers is of no interest here."""

    def step_to(self, now_ns: int) -> list[Sent]:
        return [sent for sent in super().step_to(now_ns) if sent[1] != "permit"]


class PermittedRun:
    """A run on a rig with a relay; what is wanted is told to the relay at each step, as the service does."""

    def __init__(self, seed: int = 1) -> None:
        self.run: VirtualRun = virtual_run(shipped_method("filler-45-interval"), seed=seed)
        self.run.virtual = WithRelay("demo-filler", seed, permit="line")
        self.told: list[tuple[RunState, bool, str]] = []

    @property
    def sucks(self) -> bool:
        return self.run.virtual.rig.suction_is_on

    def step(self) -> None:
        self.run.step()
        engine = self.run.engine
        granted, why = permit_wanted(engine, self.run.now_ns)
        self.told.append((engine.state, granted, why))
        self.run.virtual.write("permit", LINES.request(granted), self.run.now_ns)

    def until(self, true: Callable[[], bool], limit_s: float = 3000.0) -> None:
        end_ns = self.run.now_ns + int(limit_s * 1e9)
        while not true():
            assert self.run.now_ns < end_ns, f"still {self.run.engine.state}"
            self.step()

    def seconds(self, count: float) -> None:
        end_ns = self.run.now_ns + int(count * 1e9)
        self.until(lambda: self.run.now_ns >= end_ns)

    def reach(self, state: RunState) -> None:
        self.until(lambda: self.run.engine.state is state)

    def reach_jet(self) -> None:
        """Sieving, and the hands leave the bench alone from now on."""
        self.reach(RunState.SIEVING)
        self.seconds(5)
        assert self.sucks
        self.run.virtual.hands.holds = True


def test_without_a_run_the_rig_is_free() -> None:
    assert permit_wanted(None, 0) == (True, "no run is open")


def test_in_a_whole_run_the_permit_stands_in_draw_down_and_sieving_only() -> None:
    bench = PermittedRun()
    bench.reach(RunState.AWAITING_REVIEW)
    bench.step()

    assert {state for state, granted, _ in bench.told if granted} == JET
    assert {state for state, granted, _ in bench.told if not granted}.isdisjoint(JET)
    assert {RunState.TARING, RunState.RELEASING, RunState.WEIGHING} <= {state for state, _, _ in bench.told}
    assert bench.told[-1] == (
        RunState.AWAITING_REVIEW,
        False,
        "the run is finished; it comes back when the run is closed",
    )
    assert bench.run.engine.run.facts.outcome == "endpoint"


def test_the_end_of_an_interval_stops_the_jet_and_nothing_starts_it_but_a_hand() -> None:
    bench = PermittedRun()
    bench.reach_jet()
    bench.reach(RunState.RELEASING)
    bench.seconds(0.5)
    assert not bench.sucks
    assert bench.told[-1][2] == "the suction is to be off"
    bench.reach(RunState.WEIGHING)
    bench.run.virtual.hands.holds = False
    bench.reach(RunState.DRAWING_DOWN)
    bench.run.virtual.hands.holds = True
    bench.seconds(60)
    assert bench.told[-1][1]
    assert bench.run.virtual.rig.is_permitted
    assert not bench.sucks
    bench.run.virtual.rig.sieve_to_rig()
    bench.run.virtual.rig.suction_on()
    bench.reach(RunState.SIEVING)


def test_hold_stops_the_jet_and_resume_does_not_start_it() -> None:
    bench = PermittedRun()
    bench.reach_jet()
    assert bench.run.do(Do.HOLD, reason="sieve torn?").ok
    bench.seconds(0.5)
    assert not bench.sucks
    bench.seconds(20)
    assert bench.run.do(Do.RESUME, reason="it is whole").ok
    bench.seconds(60)
    assert bench.told[-1][1]
    assert not bench.sucks


def test_an_abort_stops_the_jet_until_a_person_has_closed_the_run() -> None:
    bench = PermittedRun()
    bench.reach_jet()
    assert bench.run.do(Do.ABORT, reason="wrong sample").ok
    bench.seconds(0.5)
    assert not bench.sucks
    assert bench.told[-1] == (
        RunState.ABORTED,
        False,
        "the run was aborted; it comes back when the run is closed",
    )


def test_lost_pressure_data_stop_the_jet_and_their_return_does_not_start_it() -> None:
    bench = PermittedRun()
    bench.reach_jet()
    bench.run.on_bytes = lambda channel, data: b"" if channel == "pressure" else data
    bench.seconds(2.5)
    assert bench.told[-1][2] == "the pressure is not known"
    assert not bench.sucks
    bench.run.on_bytes = lambda channel, data: data
    bench.seconds(5)
    assert not bench.sucks


def test_pressure_too_high_stops_the_jet() -> None:
    bench = PermittedRun()
    bench.reach_jet()
    limit_pa = bench.run.engine.run.plan.bench.alarms.dp_high_pa
    high = f"dp=+{limit_pa + 100:.1f} Pa;ok\n".encode()
    bench.run.on_bytes = lambda channel, data: high if channel == "pressure" else data
    bench.until(lambda: not bench.sucks, limit_s=1.0)
    assert bench.told[-1][2] == "the pressure is too high"


@pytest.mark.parametrize("state", list(RunState))
def test_every_state_has_its_reason(state: RunState) -> None:
    bench = PermittedRun()
    bench.run.engine.run.facts.state = state

    granted, why = permit_wanted(bench.run.engine, 0)

    assert not granted  # no pressure was read yet
    assert why
    assert why == why.strip(" .")


def test_the_log_tells_it_until_the_run_has_ended() -> None:
    engine = PermittedRun().run.engine
    engine.take_events()
    engine.note_permit(False, "the cautions are not acknowledged yet", 5)
    engine.note_permit(True, "sieving", 6)
    events = engine.take_events()
    engine.interrupt("the service was stopped", 7)
    engine.take_events()
    engine.note_permit(False, "the run was interrupted", 8)

    assert engine.take_events() == []
    assert [event.kind for event in events] == [E.PERMIT_CHANGED, E.PERMIT_CHANGED]
    assert [event_text(event.kind, event.data) for event in events] == [
        "Permit withdrawn: the cautions are not acknowledged yet.",
        "Permit granted: sieving.",
    ]
