"""The whole interval run in virtual time: bit-equal for a seed, and every way a run can end."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable

import pytest

from logger.core.method import Endpoint, Method
from logger.core.readings import Channel
from logger.core.record import ChainHead, build_record
from logger.core.run.commands import Do
from logger.core.run.events import EventKind
from logger.core.run.facts import fold
from logger.core.run.plan import canonical_json
from logger.core.run.states import RunState
from tests.system.virtual_run import VirtualRun, shipped_method, virtual_run

FILLER = "filler-45-interval"
HEAD = ChainHead(1, "0" * 64)


def with_endpoint(**changes: object) -> Method:
    method = shipped_method(FILLER)
    plain = {f.name: getattr(method.endpoint, f.name) for f in dataclasses.fields(Endpoint)}
    return dataclasses.replace(method, endpoint=Endpoint(**(plain | changes)))


def record(run: VirtualRun) -> dict[str, object]:
    return build_record("r", run.engine.run.facts, HEAD).body()


def kinds(run: VirtualRun) -> list[str]:
    return [event.kind.value for event in run.events]


def finished(method: Method | None = None, seed: int = 1) -> VirtualRun:
    run = virtual_run(method or shipped_method(FILLER), seed=seed)
    run.until(RunState.AWAITING_REVIEW)
    return run


@pytest.fixture(scope="module")
def whole() -> VirtualRun:
    return finished()


def test_the_same_seed_gives_the_same_record_to_the_bit(whole: VirtualRun) -> None:
    assert canonical_json(record(finished())) == canonical_json(record(whole))
    assert canonical_json(record(finished(seed=2))) != canonical_json(record(whole))


def test_residue_agrees_with_what_the_simulated_sieve_holds(whole: VirtualRun) -> None:
    """The truth is the simulator's own load, which no part of the logger sees."""
    result = whole.engine.run.facts.result
    true_g = whole.virtual.rig.truth.load_g(whole.now_ns / 1e9)
    true_pct = 100 * true_g / result["charge_g"]
    assert result["residue_pct"] == pytest.approx(true_pct, abs=5 * result["residue_u_weighing_pct"])
    assert result["residue_pct"] + result["passing_pct"] == pytest.approx(100)


def test_the_run_ends_below_the_limit_and_not_before(whole: VirtualRun) -> None:
    decisions = [event.data for event in whole.events if event.kind is EventKind.DECIDED]
    assert [d["stop"] for d in decisions] == [False] * (len(decisions) - 1) + [True]
    assert all(d["value"] > 0.1 for d in decisions[:-1])
    assert decisions[-1]["value"] + 2 * decisions[-1]["value_u"] <= 0.125


def test_the_events_alone_tell_the_run_again(whole: VirtualRun) -> None:
    assert build_record("r", fold(whole.events), HEAD) == build_record("r", whole.engine.run.facts, HEAD)


def test_events_come_in_order_of_time(whole: VirtualRun) -> None:
    times = [event.at_ns for event in whole.events]
    assert times == sorted(times)


def test_effective_time_of_the_weighings_matches_the_intervals(whole: VirtualRun) -> None:
    times = [w.effective_s for w in whole.engine.run.facts.weighings]
    steps = [b - a for a, b in itertools.pairwise(times)]
    assert times[0] == 0
    # An interval ends when its time is over plus the seconds that a hand needs for the switch.
    assert 300 <= steps[0] <= 306
    assert all(120 <= step <= 126 for step in steps[1:])


def test_the_time_limit_is_reported_as_such() -> None:
    run = finished(with_endpoint(max_time_s=420.0))
    body = record(run)
    assert body["outcome"] == "time-limit"
    assert "time limit" in str(body["reason"])
    assert body["result"] is not None


def test_fixed_time_stops_after_its_time() -> None:
    method = with_endpoint(rule="fixed-time", limit_pct_per_min=None, time_s=300.0)
    run = finished(method)
    assert record(run)["outcome"] == "endpoint"
    assert kinds(run).count("load_weighed") == 1


def test_relative_change_stops_by_its_own_rule() -> None:
    method = with_endpoint(rule="relative-change", limit_pct_per_min=None, change_pct=5.0)
    run = finished(method)
    assert run.engine.run.facts.decision["rule"] == "relative-change"
    assert record(run)["outcome"] == "endpoint"


def until_sieving(method: Method | None = None) -> VirtualRun:
    run = virtual_run(method or shipped_method(FILLER))
    run.until(RunState.SIEVING)
    return run


def test_a_manual_stop_never_reads_as_an_endpoint() -> None:
    run = until_sieving()
    assert not run.do(Do.STOP).ok, "a stop needs a reason"
    assert run.do(Do.STOP, reason="sample mixed up").ok
    assert Do.STOP not in run.engine.can(), "a second stop changes nothing"
    run.until(RunState.AWAITING_REVIEW)
    assert record(run)["outcome"] == "stopped"
    assert record(run)["reason"] == "sample mixed up"


def test_an_aborted_run_has_a_record_without_result() -> None:
    run = until_sieving()
    assert run.do(Do.ABORT, reason="sieve torn").ok
    assert run.engine.state is RunState.ABORTED
    body = record(run)
    assert (body["outcome"], body["result"], body["reason"]) == ("aborted", None, "sieve torn")


def test_hold_stops_effective_time_and_resume_starts_a_new_segment() -> None:
    run = until_sieving()
    for _ in range(400):
        run.step()
    assert run.do(Do.HOLD, reason="phone").ok
    at_hold = run.engine.run.pressure.effective_s
    for _ in range(400):
        run.step()
    assert run.engine.run.pressure.effective_s == at_hold
    assert run.do(Do.RESUME, reason="back").ok
    run.until(RunState.AWAITING_REVIEW)
    assert record(run)["outcome"] == "endpoint"
    assert run.engine.run.facts.weighings[1].effective_s >= 300


def test_a_jet_left_running_in_a_hold_is_a_deviation() -> None:
    run = until_sieving()
    run.virtual.hands.holds = True
    run.do(Do.HOLD, reason="phone")
    for _ in range(400):
        run.step()
    run.virtual.hands.holds = False
    run.do(Do.RESUME, reason="back")
    keys = [entry["key"] for entry in run.engine.run.facts.deviations]
    assert keys == ["jet-while-held"]


def test_a_hold_longer_than_allowed_makes_the_run_invalid() -> None:
    run = until_sieving(with_endpoint(hold_max_s=30.0))
    run.do(Do.HOLD, reason="phone")
    run.until(RunState.INVALID, limit_s=60)
    assert "held longer" in str(record(run)["reason"])
    assert record(run)["result"] is None


def test_a_charge_out_of_tolerance_is_refused_with_what_to_do() -> None:
    run = virtual_run(shipped_method(FILLER))
    run.until(RunState.CHARGING)
    run.operator = False
    run.virtual.hands.holds = True
    run.virtual.rig.pour_charge(20.0)
    for _ in range(200):
        run.step()
    reply = run.do(Do.ACCEPT_WEIGHT)
    assert not reply.ok
    assert "The charge is" in reply.text
    assert "25 g" in reply.text
    assert "Add powder" in reply.text
    assert run.engine.state is RunState.CHARGING
    assert kinds(run)[-1] == "charge_refused"


def test_accepting_before_anything_was_poured_is_refused_without_an_event() -> None:
    run = virtual_run(shipped_method(FILLER))
    run.until(RunState.CHARGING)
    run.operator = False
    before = len(run.events)
    assert not run.do(Do.ACCEPT_WEIGHT).ok
    assert len(run.events) == before


def test_suction_lost_holds_the_run_after_its_grace() -> None:
    run = until_sieving()
    run.virtual.hands.holds = True
    run.virtual.rig.suction_off()
    run.until(RunState.HELD, limit_s=60)
    assert "pressure lost" in run.engine.run.facts.held_reason
    alarms = [event.data["key"] for event in run.events if event.kind is EventKind.ALARM_RAISED]
    assert "dp-lost" in alarms


def raised(run: VirtualRun) -> list[str]:
    return [event.data["key"] for event in run.events if event.kind is EventKind.ALARM_RAISED]


def test_a_pressure_that_never_reaches_its_band_is_said_with_what_to_do() -> None:
    run = virtual_run(shipped_method(FILLER))
    run.until(RunState.DRAWING_DOWN)
    for _ in range(1400):
        run.step()
        if run.engine.run.pressure.suction_on():
            break
        assert "band-not-reached" not in raised(run), "the suction is not even on"
    run.virtual.hands.holds = True
    run.virtual.rig.set_valve(1.0)
    for _ in range(1400):
        run.step()
    assert run.engine.state is RunState.DRAWING_DOWN
    text = run.engine.run.alarms["band-not-reached"][1]
    assert "2250 to 2750 Pa" in text
    assert "bleed valve" in text


def test_a_blocked_line_raises_the_pressure_alarm() -> None:
    run = until_sieving()
    run.on_bytes = lambda channel, data: data.replace(b"2", b"8", 1) if channel is Channel.PRESSURE else data
    for _ in range(40):
        run.step()
    assert "dp-high" in raised(run)


def mute(channel: Channel) -> Callable[[Channel, bytes], bytes]:
    return lambda spoken, data: b"" if spoken is channel else data


def test_a_silent_transducer_blocks_effective_time_and_holds_the_run() -> None:
    run = until_sieving()
    run.on_bytes = mute(Channel.PRESSURE)
    run.virtual.hands.holds = True
    run.until(RunState.HELD, limit_s=60)
    at_hold = run.engine.run.pressure.effective_s
    assert "no pressure reading" in run.engine.run.facts.held_reason
    run.on_bytes = lambda channel, data: data
    run.virtual.hands.holds = False
    run.do(Do.RESUME, reason="cable back in")
    run.until(RunState.SIEVING, limit_s=60)
    # Only what the jet did after the resume was added: the gap is not bridged.
    assert run.engine.run.pressure.effective_s - at_hold < 30


def test_a_silent_balance_only_delays_the_weighing() -> None:
    run = until_sieving()
    run.on_bytes = mute(Channel.MASS)
    run.until(RunState.WEIGHING)
    for _ in range(600):
        run.step()
    assert run.engine.state is RunState.WEIGHING
    refused = run.do(Do.ACCEPT_WEIGHT)
    assert not refused.ok
    assert "cable" in refused.text
    run.on_bytes = lambda channel, data: data
    run.until(RunState.AWAITING_REVIEW)
    assert record(run)["outcome"] == "endpoint"


def test_a_unit_change_makes_the_run_invalid() -> None:
    run = until_sieving()
    run.on_bytes = lambda channel, data: (
        data.replace(b" g\r\n", b" kg\r\n") if channel is Channel.MASS else data
    )
    run.until(RunState.INVALID, limit_s=10)
    assert "unit" in str(record(run)["reason"])


def test_a_balance_tared_under_load_makes_the_run_invalid() -> None:
    run = virtual_run(shipped_method(FILLER))
    run.until(RunState.CHARGING)
    run.virtual.rig.tare_pressed()
    run.until(RunState.INVALID, limit_s=300)
    assert "tared or zeroed" in str(record(run)["reason"])


def test_garbage_between_lines_changes_nothing() -> None:
    run = virtual_run(shipped_method(FILLER))
    count = 0

    def dirty(channel: Channel, data: bytes) -> bytes:
        nonlocal count
        count += 1
        return b"\xff\x00#?\n\r\n" + data if count % 50 == 0 else data

    run.on_bytes = dirty
    run.until(RunState.AWAITING_REVIEW)
    rejected = [reading for reading in run.readings if reading.quality == "rejected"]
    assert len(rejected) > 50
    assert record(run)["outcome"] == "endpoint"


def test_a_typed_weight_is_marked_and_a_deviation() -> None:
    run = virtual_run(shipped_method(FILLER))
    run.until(RunState.TARING)
    run.operator = False
    for _ in range(200):
        run.step()
    true_g = run.engine.run.mass.steady_g(run.now_ns)
    assert true_g is not None
    assert not run.do(Do.TYPE_WEIGHT, mass_g="abc", reason="x").ok
    assert not run.do(Do.TYPE_WEIGHT, mass_g=true_g, reason="").ok
    assert run.do(Do.TYPE_WEIGHT, mass_g=true_g, reason="display broken").ok
    run.operator = True
    run.until(RunState.AWAITING_REVIEW)
    (found,) = run.engine.run.facts.deviations
    assert found["key"] == "typed-weight"
    assert "typed by op-7, not read" in found["text"]


def test_suction_on_before_the_run_blocks_the_checks_until_it_is_off() -> None:
    run = virtual_run(shipped_method(FILLER))
    run.virtual.hands.holds = True
    run.virtual.rig.place_sieve()
    run.virtual.rig.sieve_to_rig()
    run.virtual.rig.suction_on()
    for _ in range(400):
        run.step()
    assert run.engine.state is RunState.CHECKING
    run.virtual.hands.holds = False
    run.virtual.rig.suction_off()
    run.until(RunState.AWAITING_REVIEW)
    assert record(run)["outcome"] == "endpoint"


def test_switching_off_late_is_a_deviation() -> None:
    run = virtual_run(shipped_method(FILLER))
    run.until(RunState.RELEASING)
    run.virtual.hands.holds = True
    for _ in range(500):
        run.step()
    run.virtual.hands.holds = False
    run.until(RunState.AWAITING_REVIEW)
    assert [entry["key"] for entry in run.engine.run.facts.deviations] == ["suction-off-late"]
