"""Faults of a bench that weighs while the jet runs, in virtual time. Each is shown to bite first."""

from __future__ import annotations

from functools import cache

import pytest

from logger.core.readings import Channel
from logger.core.run.events import EventKind
from logger.core.run.live_estimator import make_live_rate
from logger.core.run.states import RunState
from logger.settings import config_dir, load_rig
from tests.faults.test_virtual_interval import body, deviations, fault, raised, seconds, values
from tests.system.virtual_run import VirtualRun, shipped_method, virtual_run

RIG = load_rig(config_dir() / "rigs" / "demo-platform.toml")
METHOD = shipped_method("filler-45-live")
S = RunState


def sieving(for_s: float = 0.0) -> VirtualRun:
    run = virtual_run(METHOD, bench_name="demo-under", rig=RIG, live_rate=make_live_rate)
    run.until(S.SIEVING)
    seconds(run, for_s)
    return run


@cache
def usual_stop_s() -> float:
    run = sieving()
    run.until(S.RELEASING)
    stop_s = run.engine.run.facts.decision_s
    assert stop_s is not None
    return stop_s


def test_the_tare_key_under_the_jet_ends_the_run() -> None:
    run = sieving(60)
    before_g = values(run, Channel.MASS, 1)[0]
    run.virtual.rig.tare_pressed()
    seconds(run, 2)
    assert abs(values(run, Channel.MASS, 1)[0]) < 1 < before_g, "in a slope this would be a vast loss at once"
    run.until(S.INVALID, limit_s=6)
    assert "tared or zeroed" in str(body(run)["reason"])
    assert body(run)["result"] is None


def test_powder_that_is_spilt_under_the_jet_ends_the_run() -> None:
    run = sieving(120)
    run.virtual.rig.remove_powder(4.0)
    run.until(S.INVALID, limit_s=15)
    assert "not through the sieve" in str(body(run)["reason"])
    assert body(run)["result"] is None


def test_a_knock_that_leaves_a_shift_is_a_deviation_and_not_an_endpoint_of_its_own() -> None:
    run = sieving(120)
    run.virtual.rig.bump(20.0, -4.0)
    seconds(run, 15)
    assert run.engine.state is S.SIEVING, "the run goes on"
    assert "load-step" in deviations(run)
    live = run.engine.run.live
    assert live is not None
    assert live.state().open_conditions


def test_a_frozen_platform_never_reaches_an_endpoint_and_is_told() -> None:
    run = sieving(90)
    fault(run, "frozen", Channel.MASS)
    seconds(run, 240)
    shown = values(run, Channel.MASS, 2000)
    assert len(set(shown)) == 1, "no loss at all: below any limit"
    assert run.engine.state is S.SIEVING
    assert "balance-frozen" in raised(run)
    assert "balance-frozen" in deviations(run)
    assert EventKind.ENDPOINT_REACHED not in [event.kind for event in run.events]


@pytest.mark.parametrize(
    "kind", ["silence", *(pytest.param(kind, marks=pytest.mark.full) for kind in ("overload", "garbage"))]
)
def test_an_endpoint_never_falls_into_a_hole(kind: str) -> None:
    """The balance is away for 12 s around the time at which this run usually ends."""
    run = sieving()
    elapsed_s = run.engine.run.facts.elapsed_s(run.now_ns) or 0.0
    seconds(run, usual_stop_s() - elapsed_s - 6)
    fault(run, kind, Channel.MASS, 12.0)
    if kind == "garbage":
        fault(run, "half", Channel.MASS, 12.0)
    began_ns = run.now_ns
    run.until(S.RELEASING, S.HELD, limit_s=600)
    decided_ns = [event.at_ns for event in run.events if event.kind is EventKind.ENDPOINT_REACHED]
    assert all(at_ns - began_ns > 12e9 for at_ns in decided_ns), "not on readings that nobody had"
    assert raised(run) & {"balance-silent", "balance-overload"}
    told = [event.data["text"] for event in run.events if event.data.get("key") == "balance-silent"]
    assert not any("goes on" in text for text in told), "the gap holds the run, and a person resumes it"


@pytest.mark.full
def test_lines_sent_twice_do_not_bring_the_endpoint_forward() -> None:
    run = sieving()
    fault(run, "duplicate", Channel.MASS)
    run.until(S.RELEASING)
    stop_s = run.engine.run.facts.decision_s
    assert stop_s is not None
    assert stop_s > 0.8 * usual_stop_s()
    assert {"balance-repeats", "balance-rate"} <= set(deviations(run))
