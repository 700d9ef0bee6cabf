"""From the facts of a run to what its record reports: budget, correction, decision, and what is withheld."""

from __future__ import annotations

import dataclasses
import json
import math

import pytest

from logger.core.method import Determinations, Sieve
from logger.core.record import ChainHead, Record, build_record
from logger.core.record_assessment import budget_lines, kept, read_assessment
from logger.core.run.events import EventKind as E
from logger.core.run.plan import plain_json
from logger.core.run.result import assess_run, determination, endpoint_term, twice_as_long_loss_pct
from logger.core.uncertainty import Component, NotIncluded
from tests.core.run.made_runs import PLANNED, end, live_method, method, planned
from tests.core.run.plans import bench_plan


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
    again = kept(
        assess_run(run.facts, chosen, spec, PLANNED, found), twice_as_long_loss_pct(run.facts, chosen)
    )
    assert again == record.assessment
    assert plain_json(again) == run.facts.result["assessment"]


def test_what_twice_as_long_would_take_off_is_an_estimate_beside_the_figures() -> None:
    """r t / 60 (1 - 2^-0.35) / 0.35 for a rate falling as t^-1.35: 0.6 %/min at 40 s, 0.1 at 60 s (computed)."""
    shape = (1 - 2**-0.35) / 0.35
    for chosen, reach_pct in ((method(), 0.4), (live_method(), 0.1)):
        found = end(planned(chosen)).assessment
        assert found is not None
        assert found.twice_as_long_loss_pct == pytest.approx(reach_pct * shape)


def test_a_live_run_without_a_rate_says_that_the_endpoint_is_not_included() -> None:
    run = planned(live_method())
    run.facts.decision_s = 60.0
    term = endpoint_term(run.facts, run.plan.method, run.plan.bench.balance)
    assert isinstance(term, NotIncluded)
    run.facts.decision = {"unit": "%/min", "value": 0.1, "value_u": 0.01}
    assert isinstance(endpoint_term(run.facts, run.plan.method, run.plan.bench.balance), Component)
