"""The result of a sample, put together."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.assessment import Assessment, assess
from logger.core.correction import CorrectionFactor
from logger.core.method import Determinations, Method, ResultRules, Sieve
from logger.core.refusal import ResultError
from logger.core.residue import Residue, residue
from logger.core.residue_budget import endpoint_component
from logger.core.sieves import TestSieve
from logger.core.uncertainty import NotIncluded
from logger.core.weighing import BalanceSpec
from logger.settings.files import config_dir, load_method
from tests.core.distribution.curves import rrsb

BENCH = BalanceSpec(readability_g=0.001, repeatability_g=0.0008, repeatability_dof=9)
SIEVE = TestSieve(id="S-45-01", aperture_um=45, frame_mm=200, standard="ISO 3310-1:2016")
ENDPOINT = endpoint_component(rate_pct_per_min=0.1, interval_s=120)
FACTOR = CorrectionFactor(
    sieve_id="S-45-01",
    certified_pct=4.9,
    certified_u_pct=0.05,
    found_pct=4.6,
    found_u_pct=0.05,
    checked_on=date(2026, 1, 12),
    certificate="RP-7",
)
SHIPPED = load_method(config_dir() / "methods" / "filler-45-interval.toml")


def one(residue_g: float) -> Residue:
    return residue(400.0, 425.0, 400.0 + residue_g, BENCH)


def method(correction: bool = False, count: int = 1, r_pct: float | None = None) -> Method:
    return replace(
        SHIPPED,
        sieve=Sieve(aperture_um=45.0, correction="reference-powder" if correction else "none"),
        determinations=Determinations(count=count, repeatability_limit_pct=r_pct),
    )


def run(residues_g: list[float], chosen: Method, factor: CorrectionFactor | None = None) -> Assessment:
    found = [one(mass) for mass in residues_g]
    return assess(found, [ENDPOINT] * len(found), chosen, BENCH, SIEVE, factor)


def test_one_determination_names_what_is_not_included() -> None:
    found = run([0.762], method())
    assert found.residue_text == "3.0"
    assert found.passing_text == "97.0"
    assert [n.name for n in found.budget.not_included] == ["repeatability", "aperture"]
    assert found.budget.u_pct == pytest.approx(ENDPOINT.u, rel=0.02)
    assert found.decision is not None
    assert found.decision.outcome == "accept"
    assert found.statement == (
        "residue 3.0 % of the charge, expanded uncertainty 0.12 % "
        "(k = 1.96, coverage 95 %; not included: repeatability, aperture)"
    )


def test_two_determinations_corrected_for_the_sieve() -> None:
    # EN 196-6: 3.1 and 3.4 % with F = 4.9 / 4.6 give 3.46, so 3.5 % (from memory, recomputed).
    found = run([0.775, 0.850], method(correction=True, count=2, r_pct=1.0), FACTOR)
    assert found.raw_pct == pytest.approx(3.25)
    assert found.residue_pct == pytest.approx(3.46, abs=5e-3)
    assert found.residue_text == "3.5"
    assert found.corrected is not None
    assert found.corrected.residue_u_pct == pytest.approx(found.budget.u_pct, rel=1e-9)
    assert {c.name for c in found.budget.components} >= {"endpoint", "repeatability", "correction factor"}
    assert "held in the correction factor" in found.budget.not_included[0].reason


def test_a_known_slope_brings_the_aperture_in() -> None:
    slope = rrsb(30, 0.95).slope_pct_per_um(45)
    found = assess([one(5.75)], [ENDPOINT], method(), BENCH, SIEVE, slope_pct_per_um=slope)
    # Cement-like powder at 45 um, Y = 2.8 um: 1.15 % (computed); it dwarfs everything else.
    assert found.budget.u_pct == pytest.approx(1.15, abs=0.01)


def test_a_sieve_without_any_aperture_uncertainty_is_said() -> None:
    bare = TestSieve(id="S-10", aperture_um=10, frame_mm=200, standard="certificate")
    found = assess([one(1.0)], [ENDPOINT], method(), BENCH, bare, slope_pct_per_um=-1.0)
    assert "from its certificate" in found.budget.not_included[1].reason
    none = assess([one(1.0)], [ENDPOINT], method(), BENCH)
    assert none.budget.not_included[1].reason == "the sieve is not in the register"


def test_an_endpoint_without_a_known_rate_is_said() -> None:
    unknown = NotIncluded(name="endpoint", reason="fixed time: what was still passing is not known")
    found = assess([one(0.762)], [unknown], method(), BENCH, SIEVE)
    assert found.budget.not_included[0] == unknown
    assert found.budget.u_pct == pytest.approx(one(0.762).residue_u_pct)
    with pytest.raises(ResultError, match="needs its endpoint component"):
        assess([one(0.762)], [], method(), BENCH, SIEVE)


@pytest.mark.parametrize(
    ("chosen", "factor", "words"),
    [
        (method(count=2), None, "1 of 2 determinations done"),
        (method(correction=True), None, "sieve S-45-01 has no correction factor"),
        (method(correction=True), replace(FACTOR, sieve_id="S-45-02"), "belongs to sieve S-45-02"),
    ],
)
def test_no_figure_that_cannot_be_stood_behind(
    chosen: Method, factor: CorrectionFactor | None, words: str
) -> None:
    with pytest.raises(ResultError, match=words):
        run([0.762], chosen, factor)


def test_determinations_too_far_apart_give_no_figure() -> None:
    with pytest.raises(ResultError, match="do one more"):
        run([0.75, 1.25], method(count=2, r_pct=1.0))


def test_a_factor_is_not_applied_where_the_method_does_not_correct() -> None:
    assert run([0.762], method(), FACTOR).corrected is None


def test_body_is_plain_json() -> None:
    found = run([0.775, 0.850], method(correction=True, count=2, r_pct=1.0), FACTOR)
    text = json.dumps(found.body(), allow_nan=False)
    back = json.loads(text)
    assert back["corrected"]["factor"]["checked_on"] == "2026-01-12"
    assert back["budget"]["components"][1]["dof"] is None
    assert back["budget_lines"][0].startswith("source")


@settings(deadline=None)
@given(st.floats(0.0, 25.0), st.sampled_from(["half-even", "half-up"]), st.integers(0, 2))
def test_reported_residue_and_passing_sum_to_100(residue_g: float, rounding: str, decimals: int) -> None:
    rules = ResultRules(decimals=decimals, rounding="half-up" if rounding == "half-up" else "half-even")
    found = run([residue_g], replace(method(), result=rules))
    assert float(found.residue_text) + float(found.passing_text) == pytest.approx(100, abs=1e-9)
    assert found.residue_pct + found.passing_pct == pytest.approx(100, abs=1e-9)


@settings(deadline=None)
@given(st.permutations([0.775, 0.850, 0.800]))
def test_order_of_determinations_changes_nothing(order: list[float]) -> None:
    chosen = method(count=3, r_pct=1.0)
    first, second = run([0.775, 0.800, 0.850], chosen), run(order, chosen)
    assert first.residue_pct == second.residue_pct
    assert first.budget.u_pct == second.budget.u_pct
    assert first.statement == second.statement
