"""Rounding once, by a named rule. Ties worked by hand; rules as in ISO 80000-1 annex B (from memory)."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.refusal import ResultError
from logger.core.rounding import Rounding, rounded, rounded_text, rounded_u_text, rounding_sentence


@pytest.mark.parametrize(
    ("value", "rule", "text"),
    [
        (3.25, "half-even", "3.2"),
        (3.35, "half-even", "3.4"),
        (3.25, "half-up", "3.3"),
        (3.35, "half-up", "3.4"),
        (2.675, "half-up", "2.7"),
        (3.2499999999999996, "half-up", "3.3"),  # 3.25 as a sum of floats leaves it
        (0.15, "half-even", "0.2"),
        (-0.04, "half-even", "0.0"),
        (-0.25, "half-up", "-0.3"),
        (100.0, "half-even", "100.0"),
        (3.2449, "half-up", "3.2"),
    ],
)
def test_ties(value: float, rule: Rounding, text: str) -> None:
    assert rounded_text(value, 1, rule) == text


def test_rounded_once_not_in_steps() -> None:
    # 3.2449 -> 3.24 -> 3.2 but 3.2451 -> 3.25 -> 3.3 in two steps half up; once it is 3.2 too.
    assert rounded_text(3.2451, 1, "half-up") == "3.2"
    assert rounded_text(3.246, 1, "half-even") == "3.2"


@settings(deadline=None)
@given(st.integers(0, 10**6), st.sampled_from(["half-even", "half-up"]))
def test_what_has_the_digits_already_stays(hundredths: int, rule: Rounding) -> None:
    exact = Decimal(hundredths).scaleb(-2)
    assert rounded(float(exact), 2, rule) == exact


@pytest.mark.parametrize(
    ("u", "text"), [(0.0047412, "0.0048"), (0.4, "0.40"), (1.234, "1.3"), (0.0, "0"), (12.01, "13")]
)
def test_uncertainties_are_rounded_up(u: float, text: str) -> None:
    assert rounded_u_text(u) == text


def test_the_rule_is_named() -> None:
    assert rounding_sentence(1, "half-even") == (
        "rounded once, at the report, to the nearest 0.1; a tie goes to the even digit (half-even)"
    )


@settings(deadline=None)
@given(st.floats(0, 100), st.integers(0, 4), st.sampled_from(["half-even", "half-up"]))
def test_never_off_by_more_than_half_a_step(value: float, decimals: int, rule: Rounding) -> None:
    found = rounded(value, decimals, rule)
    assert found.as_tuple().exponent == -decimals
    assert abs(float(found) - value) <= 0.5 * 10**-decimals + 1e-9


def test_no_figure_from_nan() -> None:
    with pytest.raises(ResultError, match="not a number"):
        rounded(float("nan"), 1)
