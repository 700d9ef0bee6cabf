"""From the facts of a run to what its record reports: budget, correction, decision, and what is withheld."""

from __future__ import annotations

import dataclasses
import json
import math
from datetime import date

import pytest

from logger.core.correction import CorrectionFactor
from logger.core.method import Determinations, Method, ResultRules, Sieve
from logger.core.record import ChainHead, Record, build_record
from logger.core.record_assessment import budget_lines, kept, read_assessment
from logger.core.register.planned import PlannedSieve
from logger.core.run.engine import RunEngine
from logger.core.run.events import EventKind as E
from logger.core.run.plan import RunPlan, Sample, plain_json
from logger.core.run.result import assess_run, determination, endpoint_term
from logger.core.run.run import Run
from logger.core.run.states import RunState
from logger.core.run.weigh import compute
from logger.core.sieves import TestSieve
from logger.core.uncertainty import Component, NotIncluded
from tests.core.run.plans import bench_plan, interval_method

FACTOR = CorrectionFactor(
    sieve_id="S-45-01",
    certified_pct=4.9,
    certified_u_pct=0.05,
    found_pct=4.6,
    found_u_pct=0.05,
    checked_on=date(2026, 1, 12),
    certificate="RP-7",
)
PLANNED = PlannedSieve(
    sieve=TestSieve(id="S-45-01", aperture_um=45, frame_mm=200, standard="ISO 3310-1:2016"),
    factor=FACTOR,
    runs_before=3,
    last_tare_g=400.0,
    last_tare_utc="2026-01-10T06:00:00.000Z",
    tare_allowed_g=0.0,
)
UTC = "2026-02-01T06:00:00.000Z"
LIMITS = ResultRules(residue_max_pct=4.0)


def method(**changes: object) -> Method:
    return dataclasses.replace(interval_method(), result=LIMITS, **changes)  # type: ignore[arg-type]


def live_method() -> Method:
    chosen = interval_method()
    return dataclasses.replace(
        chosen,
        result=LIMITS,
        weighing=dataclasses.replace(chosen.weighing, mode="live", first_interval_s=None, interval_s=None),
    )


def planned(chosen: Method, sieve: PlannedSieve | None = None) -> Run:
    plan = RunPlan(
        run_id="r",
        sample=Sample(sample_id="S-1", operator_id="op-7"),
        method=chosen,
        aperture_um=45.0,
        bench=bench_plan(),
        rig=None,
        software="test",
        sieve_id="" if sieve is None else sieve.sieve.id,
        sieve=sieve,
    )
    return RunEngine(plan, 0, lambda: UTC).run


def end(run: Run, outcome: E = E.ENDPOINT_REACHED, after_s: float = 0.0) -> Record:
    """25 g, 1.0 g and then 0.95 g left after 20 and 40 s; ended at 60 s of bench time, off `after_s` later."""
    second = 1_000_000_000
    run.emit(E.CAUTIONS_ACKNOWLEDGED, 0, name="op-7")
    run.emit(E.CHECKS_PASSED, 0, zero_dp_pa=0.0)
    live = run.live_mode
    run.emit(E.TARE_WEIGHED, 0, gross_g=400.0)
    run.emit(E.CHARGE_WEIGHED, 0, gross_g=425.0, load_g=25.0, effective_s=0.0)
    if live:
        run.emit(E.REST_BEGUN, 0, rest_s=60.0)
    run.emit(E.DRAW_DOWN_BEGUN, 0, interval_target_s=None if live else 20.0)
    run.emit(E.SUCTION_SEEN_ON, 0, segment=1)
    run.emit(E.BAND_REACHED, 0, dp_pa=2500)
    if live:
        run.emit(E.DECIDED, 60 * second, value=0.1, value_u=0.01, limit=0.1, unit="%/min", text="0.10 %/min")
        run.emit(outcome, 60 * second, elapsed_s=60.0, reason="0.10 %/min", by="op-7")
        run.emit(E.SUCTION_SEEN_OFF, 70 * second, elapsed_s=60.0 + after_s, effective_s=40.0)
        run.emit(E.PRESSURE_RELEASED, 80 * second, how="measured")
        run.emit(E.LOAD_WEIGHED, 90 * second, gross_g=400.95, load_g=0.95, effective_s=40.0)
    else:
        for at_s, load_g in ((20, 1.0), (40, 0.95)):
            run.emit(E.INTERVAL_OVER, at_s * second, interval_s=20.0, effective_s=float(at_s))
            run.emit(E.SUCTION_SEEN_OFF, at_s * second, elapsed_s=at_s + after_s, effective_s=float(at_s))
            run.emit(E.PRESSURE_RELEASED, at_s * second, how="measured")
            run.emit(E.LOAD_WEIGHED, at_s * second, gross_g=400 + load_g, load_g=load_g, effective_s=at_s)
            if at_s == 20:
                run.emit(E.DRAW_DOWN_BEGUN, at_s * second, interval_target_s=20.0)
                run.emit(E.BAND_REACHED, at_s * second, dp_pa=2500)
        run.emit(outcome, 60 * second, elapsed_s=60.0, reason="0.6 %/min", by="op-7")
    if run.state is RunState.WEIGHING:
        run.emit(E.RESULT_DUE, 95 * second)
    compute(run, 100 * second)
    return build_record("r", run.facts, ChainHead(1, "0" * 64))


def contribution(record: Record, name: str) -> float:
    assert record.assessment is not None
    return next(c.contribution_pct for c in record.assessment.budget.components if c.name == name)


def test_the_record_reports_figures_decision_and_what_is_missing() -> None:
    record = end(planned(method()))
    found = record.assessment
    assert found is not None
    assert (found.residue_text, found.passing_text, found.undecided) == ("3.8", "96.2", "")
    assert found.decision is not None
    assert found.decision.outcome == "accept"
    assert 0.5 < found.decision.probability < 1
    assert [n.name for n in found.budget.not_included] == ["repeatability", "aperture"]
    assert "nearest 0.1" in found.rounding_text
    assert "repeatability" in "\n".join(budget_lines(found))


def test_the_budget_agrees_with_the_weighing_uncertainty_beside_and_under() -> None:
    """Live mode reads the bare platform twice more: u^2 grows by 2 (u / m0)^2 (computed)."""
    beside, under = end(planned(method())), end(planned(live_method()))
    u_g = bench_plan().balance.mass_u_g
    for record in (beside, under):
        assert record.assessment is not None
        assert record.result is not None
        parts = [
            c.contribution_pct for c in record.assessment.budget.components if c.name.startswith("weighing")
        ]
        assert math.hypot(*parts) == pytest.approx(record.result.residue_u_weighing_pct, rel=1e-12)
    assert beside.result is not None
    assert under.result is not None
    more = under.result.residue_u_weighing_pct**2 - beside.result.residue_u_weighing_pct**2
    assert math.sqrt(more) == pytest.approx(100 * math.sqrt(2) * u_g / 25, rel=1e-9)


def test_the_delay_until_suction_off_enters_the_endpoint_term() -> None:
    """Half-width r D: 0.1 %/min over 30 s is 0.05 %, as a rectangle 0.0289 % (computed)."""
    prompt, late = (contribution(end(planned(live_method()), after_s=s), "endpoint") for s in (0.0, 30.0))
    assert math.sqrt(late**2 - prompt**2) == pytest.approx(0.05 / math.sqrt(3), rel=1e-9)
    prompt, late = (contribution(end(planned(method()), after_s=s), "endpoint") for s in (0.0, 30.0))
    # Interval: 0.05 g of 25 g in 20 s is 0.6 %/min, so 0.3 % in 30 s.
    assert math.sqrt(late**2 - prompt**2) == pytest.approx(0.3 / math.sqrt(3), rel=1e-9)


@pytest.mark.parametrize("outcome", [E.TIME_LIMIT_REACHED, E.STOPPED])
def test_a_run_without_its_endpoint_reports_its_residue_and_decides_nothing(outcome: E) -> None:
    found = end(planned(method()), outcome).assessment
    assert found is not None
    assert found.residue_text == "3.8"
    assert found.decision is None
    assert "not at its endpoint" in found.undecided


def test_one_of_two_determinations_decides_nothing() -> None:
    chosen = method(determinations=Determinations(count=2, repeatability_limit_pct=1.0))
    found = end(planned(chosen)).assessment
    assert found is not None
    assert found.decision is None
    assert "asks for 2 determinations" in found.undecided
    assert "repeatability" in [c.name for c in found.budget.components]


def test_a_correcting_method_keeps_raw_and_corrected() -> None:
    chosen = method(sieve=Sieve(aperture_um=45.0, correction="reference-powder"))
    record = end(planned(chosen, PLANNED))
    assert record.assessment is not None
    assert record.result is not None
    assert record.assessment.residue_pct == pytest.approx(3.8 * 4.9 / 4.6)
    assert record.assessment.raw_residue_pct == record.result.residue_pct == pytest.approx(3.8)
    assert record.assessment.corrected is not None
    assert record.assessment.corrected.checked_on == "2026-01-12"
    assert record.assessment.decision is not None
    assert record.assessment.decision.outcome == "reject"


def test_without_a_factor_a_correcting_method_reports_raw_and_decides_nothing() -> None:
    chosen = method(sieve=Sieve(aperture_um=45.0, correction="reference-powder"))
    for sieve, words in (
        (None, "from the register"),
        (dataclasses.replace(PLANNED, factor=None), "no correction"),
    ):
        found = end(planned(chosen, sieve)).assessment
        assert found is not None
        assert found.residue_pct == pytest.approx(3.8)
        assert found.corrected is None
        assert words in found.uncorrected
        assert found.decision is None


def test_a_method_that_does_not_correct_ignores_a_known_factor() -> None:
    found = end(planned(method(), PLANNED)).assessment
    assert found is not None
    assert found.corrected is None
    assert found.residue_pct == pytest.approx(3.8)


def test_an_aborted_run_has_no_figure() -> None:
    run = planned(method())
    run.emit(E.CAUTIONS_ACKNOWLEDGED, 0, name="op-7")
    run.emit(E.ABORTED, 0, by="op-7", reason="wrong sample")
    record = build_record("r", run.facts, ChainHead(1, "0" * 64))
    assert (record.result, record.assessment) == (None, None)


def test_the_assessment_comes_back_from_its_json() -> None:
    chosen = method(sieve=Sieve(aperture_um=45.0, correction="reference-powder"))
    record = end(planned(chosen, PLANNED))
    assert record.assessment is not None
    body = json.loads(json.dumps(record.body(), allow_nan=False))
    assert read_assessment(body["assessment"]) == record.assessment
    assert body == record.body()
    assert body["sieve"]["runs_before"] == 3


def test_the_same_facts_give_the_same_assessment_again() -> None:
    """`lastgrain results` assesses from the journal what the run assessed at its end."""
    run = planned(method(), PLANNED)
    record = end(run)
    spec, chosen = run.plan.bench.balance, run.plan.method
    found = determination(run.facts, chosen, spec)
    again = kept(assess_run(run.facts, chosen, spec, PLANNED, found))
    assert again == record.assessment
    assert plain_json(again) == run.facts.result["assessment"]


def test_a_live_run_without_a_rate_says_that_the_endpoint_is_not_included() -> None:
    run = planned(live_method())
    run.facts.decision_s = 60.0
    term = endpoint_term(run.facts, run.plan.method, run.plan.bench.balance)
    assert isinstance(term, NotIncluded)
    run.facts.decision = {"unit": "%/min", "value": 0.1, "value_u": 0.01}
    assert isinstance(endpoint_term(run.facts, run.plan.method, run.plan.bench.balance), Component)
