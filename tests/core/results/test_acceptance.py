"""Decisions against limits."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.acceptance import Decision, decide, probability_of_conformity
from logger.core.method import ResultRules

Rule = Literal["simple", "guarded-accept", "guarded-reject"]


def judge(
    value: float, rule: Rule, guard: float = 1.0, low: float | None = None, u: float = 0.4, k: float = 2.0
) -> Decision:
    rules = ResultRules(residue_max_pct=12.0, residue_min_pct=low, rule=rule, guard=guard)
    found = decide(value, u, k * u, rules)
    assert found is not None
    return found


def test_jcgm_106_upper_limit_example() -> None:
    # JCGM 106:2012, 7.3.3 example 1: y = -5.47 V, u = 0.05 V, T_U = -5.40 V (inputs from memory).
    assert probability_of_conformity(-5.47, 0.05, None, -5.40) == pytest.approx(0.9192, abs=5e-5)


def test_jcgm_106_lower_limit_example() -> None:
    # JCGM 106:2012, 7.3.3 example 2: 509.7 kPa, u = 8.6 kPa, T_L = 490 kPa (inputs from memory).
    assert probability_of_conformity(509.7, 8.6, 490.0, None) == pytest.approx(0.9890, abs=5e-5)


def test_jcgm_106_guarded_rejection_of_speeding() -> None:
    # JCGM 106:2012, 8.3.3.2: limit 100 km/h, u = 2 %, 99.9 % sure: 106.59, so 107 km/h (from memory).
    rules = ResultRules(residue_max_pct=100.0, rule="guarded-reject", guard=1.0)

    def outcome(speed: float) -> str:
        found = decide(speed, 0.02 * speed, 3.0902 * 0.02 * speed, rules)
        assert found is not None
        return found.outcome

    assert outcome(106.58) == "inconclusive"
    assert outcome(106.60) == "reject"
    assert outcome(107.0) == "reject"
    assert probability_of_conformity(106.59, 0.02 * 106.59, None, 100.0) == pytest.approx(0.001, abs=1e-5)


@pytest.mark.parametrize(
    ("value", "probability"),
    # T = 12.0 %, u = 0.40 %; computed with SciPy's normal distribution.
    [(11.5, 0.89435), (11.34, 0.95053), (11.2, 0.97725), (12.3, 0.22663)],
)
def test_probability_of_a_residue_below_its_limit(value: float, probability: float) -> None:
    assert judge(value, "simple").probability == pytest.approx(probability, abs=5e-6)


@pytest.mark.parametrize(
    ("value", "rule", "outcome"),
    [
        (11.5, "simple", "accept"),
        (11.5, "guarded-accept", "inconclusive"),
        (11.2, "guarded-accept", "accept"),  # ILAC-G8: w = U = 2 u (from memory)
        (11.21, "guarded-accept", "inconclusive"),
        (12.0, "simple", "accept"),
        (12.3, "simple", "reject"),
        (12.3, "guarded-accept", "reject"),
        (12.3, "guarded-reject", "inconclusive"),
        (12.81, "guarded-reject", "reject"),
    ],
)
def test_three_outcomes(value: float, rule: Rule, outcome: str) -> None:
    found = judge(value, rule)
    assert found.outcome == outcome
    assert found.rule == rule
    assert f"rule {rule}" in found.text


def test_one_sided_95_percent_guard_band() -> None:
    # w = 1.645 u with U = 2 u: acceptance limit 12.0 - 0.658 = 11.342 % (computed).
    assert judge(11.341, "guarded-accept", guard=1.645 / 2).outcome == "accept"
    assert judge(11.343, "guarded-accept", guard=1.645 / 2).outcome == "inconclusive"


def test_two_limits() -> None:
    assert judge(6.0, "guarded-accept", low=5.0).outcome == "accept"
    assert judge(5.5, "guarded-accept", low=5.0).outcome == "inconclusive"
    assert judge(4.5, "guarded-accept", low=5.0).outcome == "reject"
    narrow = judge(11.8, "guarded-accept", low=11.6)
    assert narrow.outcome == "inconclusive"
    assert "no value can be accepted" in narrow.text


def test_the_sentence_says_rule_limits_guard_and_probability() -> None:
    assert judge(11.5, "guarded-accept").text == (
        "inconclusive: neither accepted nor rejected: too near a limit for its uncertainty "
        "(residue at most 12 %), rule guarded-accept with a guard band of 0.80 % (1 U); "
        "probability of conformity 89.4 %"
    )


def test_no_limit_no_decision() -> None:
    assert decide(5.0, 0.1, 0.2, ResultRules()) is None


def test_a_known_value_conforms_or_does_not() -> None:
    assert probability_of_conformity(12.0, 0.0, None, 12.0) == 1.0
    assert probability_of_conformity(12.1, 0.0, None, 12.0) == 0.0


def test_probability_by_monte_carlo() -> None:
    rng = np.random.default_rng(3)
    drawn = 11.5 + 0.4 * rng.standard_normal(200_000)
    share = float(np.mean((drawn >= 11.0) & (drawn <= 12.0)))
    assert probability_of_conformity(11.5, 0.4, 11.0, 12.0) == pytest.approx(share, abs=0.004)


@settings(deadline=None)
@given(st.floats(0, 30), st.floats(0.01, 3), st.floats(0, 3))
def test_a_guard_never_turns_a_doubt_into_a_decision(value: float, u: float, guard: float) -> None:
    simple = judge(value, "simple", u=u).outcome
    for rule in ("guarded-accept", "guarded-reject"):
        assert judge(value, rule, guard=guard, u=u).outcome in (simple, "inconclusive")
