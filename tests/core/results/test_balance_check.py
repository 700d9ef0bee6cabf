"""Balance against a check weight."""

from __future__ import annotations

import pytest

from logger.core.balance_check import CheckWeight, judge_check
from logger.core.refusal import ResultError

WEIGHT = CheckWeight(id="W-200", mass_g=200.0003, tolerance_g=0.01)


@pytest.mark.parametrize(
    ("zero_g", "reading_g", "passed"),
    [(0.0, 200.0003, True), (0.0, 200.0103, True), (0.0, 200.0113, False), (0.002, 199.991, False)],
)
def test_within_and_beyond_tolerance(zero_g: float, reading_g: float, passed: bool) -> None:
    assert judge_check(WEIGHT, zero_g, reading_g, 0.001).passed is passed


def test_sentences() -> None:
    assert judge_check(WEIGHT, 0.0, 200.0023, 0.001).text == (
        "check weight W-200: +0.002 g off, 0.01 g allowed"
    )
    assert "do not use it as it is" in judge_check(WEIGHT, 0.0, 200.1, 0.001).text


def test_checks_that_show_nothing_are_refused() -> None:
    with pytest.raises(ResultError, match="finer than one digit"):
        judge_check(WEIGHT, 0.0, 200.0, 0.1)
    with pytest.raises(ResultError, match="tolerance_g must be above zero"):
        CheckWeight(id="W", mass_g=1.0, tolerance_g=0.0)
    with pytest.raises(ResultError, match="needs an id"):
        CheckWeight(id="", mass_g=1.0, tolerance_g=0.1)
