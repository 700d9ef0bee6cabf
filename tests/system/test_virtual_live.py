"""Live mode in virtual time: rest, jet, endpoint by rate, suction off, residue weighed and reconciled."""

from __future__ import annotations

import dataclasses

import pytest

from logger.core.readings import Channel, Quality, Reading
from logger.core.record import ChainHead, build_record
from logger.core.rig import Rig
from logger.core.run.commands import Do, Refused
from logger.core.run.events import EventKind
from logger.core.run.live_estimator import make_live_rate
from logger.core.run.start import check_arrangement, check_endpoint
from logger.core.run.states import RunState
from logger.settings import config_dir, load_rig
from tests.system.virtual_run import VirtualRun, shipped_method, virtual_run

RIG = load_rig(config_dir() / "rigs" / "demo-platform.toml")
METHOD = shipped_method("filler-45-live")


def live_run(seed: int = 1, scenario: str = "demo-filler") -> VirtualRun:
    return virtual_run(METHOD, scenario, seed, bench_name="demo-under", rig=RIG, live_rate=make_live_rate)


def true_rate(run: VirtualRun) -> float:
    facts = run.engine.run.facts
    assert facts.suction_start_ns is not None
    assert facts.decision_s is not None
    return run.virtual.rig.truth.rate_pct_per_min_nominal(facts.suction_start_ns / 1e9 + facts.decision_s)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_live_run_stops_near_the_limit_and_reconciles(seed: int) -> None:
    run = live_run(seed)
    run.until(RunState.AWAITING_REVIEW)
    facts = run.engine.run.facts
    assert facts.outcome == "endpoint"
    assert 0.07 < true_rate(run) < 0.125
    assert facts.result["live_difference_pct"] == pytest.approx(0, abs=0.3)
    assert facts.deviations == []
    assert facts.decision_s is not None
    assert facts.suction_off_s is not None
    assert 0 < facts.suction_off_s - facts.decision_s < 15
    body = build_record("r", facts, ChainHead(1, "0" * 64)).body()
    assert body["endpoint"]["unit"] == "%/min"


def test_the_rest_before_the_jet_is_as_long_as_the_method_says() -> None:
    run = live_run()
    run.until(RunState.DRAWING_DOWN)
    begun = {event.kind: event.at_ns for event in run.events}
    rest_s = (begun[EventKind.DRAW_DOWN_BEGUN] - begun[EventKind.REST_BEGUN]) / 1e9
    assert rest_s == pytest.approx(METHOD.weighing.rest_s, abs=0.1)


def test_dust_that_stays_in_the_housing_is_not_weighed_as_residue() -> None:
    """The platform carries the dust; the sieve is weighed as a difference, and the two are reconciled."""
    strict = dataclasses.replace(METHOD, weighing=dataclasses.replace(METHOD.weighing, reconcile_pct=0.3))
    run = virtual_run(strict, "dusty-housing", bench_name="demo-under", rig=RIG, live_rate=make_live_rate)
    run.until(RunState.AWAITING_REVIEW)
    facts = run.engine.run.facts
    true_g = run.virtual.rig.truth.load_g(run.now_ns / 1e9)
    assert facts.result["residue_g"] == pytest.approx(true_g, abs=0.03)
    assert facts.decision["live_load_g"] - true_g > 0.15, "the dust is there"
    assert [entry["key"] for entry in facts.deviations] == ["live-load-differs"]


def accept(run: VirtualRun) -> bool:
    """Steps until the platform stands still, then accepts once; whether that was taken."""
    for count in range(600):
        run.step()
        if count > 60 and run.engine.run.mass.steady_g(run.now_ns) is not None:
            return run.do(Do.ACCEPT_WEIGHT).ok
    raise AssertionError("the platform never stood still")


def test_a_sieve_left_on_the_rig_is_not_taken_for_the_bare_platform() -> None:
    run = live_run()
    run.until(RunState.TARING)
    run.operator = False
    run.virtual.hands.holds = True
    assert accept(run), "nobody can tell yet"
    assert not accept(run), "no sieve was put on since"
    run.virtual.rig.sieve_away()
    assert accept(run)
    assert run.engine.run.facts.platform_before_g == pytest.approx(0, abs=0.05)
    run.virtual.rig.place_sieve()
    assert accept(run)
    assert run.engine.state is RunState.CHARGING


def test_a_manual_stop_in_live_mode_is_no_endpoint() -> None:
    run = live_run()
    run.until(RunState.SIEVING)
    for _ in range(1200):
        run.step()
    assert run.do(Do.STOP, reason="wrong sample").ok
    run.until(RunState.AWAITING_REVIEW)
    assert run.engine.run.facts.outcome == "stopped"


def test_an_open_condition_is_always_named_while_sieving() -> None:
    run = live_run()
    run.until(RunState.SIEVING)
    live = run.engine.run.live
    assert live is not None
    for _ in range(100):
        run.step()
        state = live.state()
        assert state.stop or state.open_conditions


def refused(method: object, rig: Rig) -> str:
    run = live_run()
    with pytest.raises(Refused) as caught:
        check_endpoint(method, rig, run.bench.balance.spec())  # type: ignore[arg-type]
    return str(caught.value)


def test_strong_suction_force_or_an_uncertain_one_refuses_live_weighing() -> None:
    strong = dataclasses.replace(RIG, coupling_g_per_kpa=1.6)
    assert "1.5 g/kPa" in refused(METHOD, strong)
    uncertain = dataclasses.replace(RIG, coupling_u_g_per_kpa=0.2)
    assert "blank run" in refused(METHOD, uncertain)


def test_a_method_that_cannot_be_met_is_refused_with_what_would_help() -> None:
    noisy = dataclasses.replace(RIG, flicker_rms_g=0.2, white_sd_g=0.1)
    text = refused(METHOD, noisy)
    assert "What would help" in text
    assert "interval mode" in text


def test_a_balance_beside_the_rig_cannot_weigh_live() -> None:
    with pytest.raises(Refused, match="beside"):
        check_arrangement(METHOD, "beside")


def test_a_mass_reading_stamped_before_suction_on_but_arriving_after_it_is_taken_in_order() -> None:
    """Two ports speak out of step: the pressure that shows suction on may overtake a mass reading."""
    run = live_run()
    run.until(RunState.DRAWING_DOWN)
    run.operator = False
    engine = run.engine
    at_ns = run.now_ns + 1_000_000
    engine.on_reading(Reading(Channel.PRESSURE, at_ns, 600.0, Quality.OK, None, 0.1, "p"))
    assert engine.run.facts.suction_start_ns == at_ns
    engine.on_reading(Reading(Channel.MASS, at_ns - 500_000, 436.0, Quality.OK, True, 0.01, "m"))
    engine.on_reading(Reading(Channel.MASS, at_ns + 99_000_000, 436.0, Quality.OK, True, 0.01, "m"))
    assert engine.run.rest == []
    run.operator = True
    run.until(RunState.AWAITING_REVIEW)
