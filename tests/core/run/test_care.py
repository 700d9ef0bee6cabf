"""Care of the sieve: asked once before and once after, kept as events, shown in the record."""

from __future__ import annotations

from logger.core.record import ChainHead, build_record, record_care
from logger.core.run.commands import Command, Do, Reply
from logger.core.run.engine import RunEngine
from logger.core.run.events import EventKind as E
from logger.core.run.instruct import instruction
from logger.core.run.plan import CarriedPortion, RunPlan, Sample
from logger.core.run.states import RunState
from logger.core.run.words import event_text
from tests.core.run.plans import bench_plan, interval_method

UTC = "2026-02-01T06:00:00.000Z"


def _engine(portion: CarriedPortion | None = None) -> RunEngine:
    plan = RunPlan(
        run_id="r",
        sample=Sample(sample_id="S-1", operator_id="op-7"),
        method=interval_method(),
        aperture_um=45.0,
        bench=bench_plan(),
        rig=None,
        software="test",
        portion=portion,
    )
    engine = RunEngine(plan, 0, lambda: UTC)
    engine.run.emit(E.CAUTIONS_ACKNOWLEDGED, 1, name="op-7")
    engine.run.emit(E.CHECKS_PASSED, 2, zero_dp_pa=0.0, mass_digit_g=0.001, dp_digit_pa=1.0)
    return engine


def _do(engine: RunEngine, do: Do, **args: object) -> Reply:
    return engine.command(Command(do, "op-7", dict(args)), 3)


def test_before_the_run_it_is_asked_once() -> None:
    engine = _engine()
    assert Do.SIEVE_CARE.value in engine.can()
    assert instruction(engine, 3).detail.startswith("Inspect it")
    reply = _do(engine, Do.SIEVE_CARE, in_order=True)
    assert reply.text == "Sieve inspected before the run: clean and in order."
    assert Do.SIEVE_CARE.value not in engine.can()
    assert instruction(engine, 3).detail == "Accept the weight when it is stable."
    event = next(each for each in engine.take_events() if each.kind is E.SIEVE_CARED)
    assert (
        event_text(event.kind, event.data) == "Sieve inspected before the run: clean and in order. By op-7."
    )


def test_a_finding_needs_words() -> None:
    engine = _engine()
    assert not _do(engine, Do.SIEVE_CARE, note="  ").ok
    assert not _do(engine, Do.SIEVE_CARE, note="dent\x1b[2J").ok
    assert (
        _do(engine, Do.SIEVE_CARE, note="dent at the rim.").text == "Sieve before the run: dent at the rim."
    )


def test_care_stands_in_the_record_with_who_and_when() -> None:
    engine = _engine()
    _do(engine, Do.SIEVE_CARE, in_order=True)
    engine.run.emit(E.ABORTED, 4, by="op-7", reason="test")
    body = build_record("r", engine.run.facts, ChainHead(1, "0" * 64)).body()
    assert body["sieve_care"] == [
        {
            "when": "before",
            "in_order": True,
            "note": "",
            "text": "Sieve inspected before the run: clean and in order.",
            "by": "op-7",
            "at": UTC,
        }
    ]
    assert (body["conditions"], body["portion"]) == (None, None)


def test_after_the_run_it_is_asked_again_and_the_lid_can_be_noted() -> None:
    engine = _engine()
    engine.run.facts.state = RunState.AWAITING_REVIEW
    assert {Do.SIEVE_CARE.value, Do.LID_DEPOSITS.value} <= set(engine.can())
    assert _do(engine, Do.LID_DEPOSITS, note="a thin film").text == "Deposits on the lid: a thin film."
    assert _do(engine, Do.LID_DEPOSITS).text == "Deposits on the lid."
    assert _do(engine, Do.SIEVE_CARE, in_order=True).ok
    assert [entry.when for entry in record_care(engine.run.facts)] == ["lid", "lid", "after"]
    assert Do.SIEVE_CARE.value not in engine.can()


def test_a_carried_portion_is_what_the_charge_is_weighed_against() -> None:
    engine = _engine(CarriedPortion(from_run=4, run_id="r4", mass_g=7.5))
    engine.run.emit(E.TARE_WEIGHED, 3, gross_g=400.0)
    assert "the residue of run 4, 7.500 g," in instruction(engine, 4).text
    refused = _do(engine, Do.TYPE_WEIGHT, mass_g=425.0, reason="test")
    assert "run 4 left 7.500 g to be carried over within 0.5 g" in refused.text
    assert _do(engine, Do.TYPE_WEIGHT, mass_g=407.4, reason="test").ok
    assert engine.run.facts.charge_g == 7.4
