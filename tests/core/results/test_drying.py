"""Constant mass."""

from __future__ import annotations

import pytest

from logger.core.drying import ConstantMass, DryingWeighing, constant_mass
from logger.core.refusal import ResultError


def judge(*pairs: tuple[float, float]) -> ConstantMass:
    return constant_mass([DryingWeighing(at_s=60 * minutes, mass_g=mass) for minutes, mass in pairs])


def test_constant_within_a_tenth_of_a_percent_over_an_hour() -> None:
    # EN 933-10: weighings at least 1 h apart that differ by at most 0.1 % (read second-hand).
    assert judge((0, 100.0), (60, 99.9)).reached
    assert not judge((0, 100.0), (60, 99.89)).reached
    assert judge((0, 100.0), (60, 99.9)).text == "-0.10 % in 60 min, 0.1 % allowed: constant mass"


def test_compared_with_the_latest_weighing_far_enough_before() -> None:
    found = judge((0, 110.0), (30, 100.4), (50, 100.2), (95, 100.35))
    assert found.apart_s == 65 * 60
    assert found.reached


def test_too_close_together_shows_nothing() -> None:
    found = judge((0, 100.0), (59, 100.0))
    assert not found.reached
    assert found.change_pct is None
    assert "60 min or more apart" in found.text
    assert not judge((0, 100.0)).reached


def test_a_gain_is_a_change() -> None:
    assert not judge((0, 100.0), (90, 100.3)).reached


def test_bad_weighings_are_refused() -> None:
    with pytest.raises(ResultError, match="order of their times"):
        judge((60, 100.0), (0, 100.0))
    with pytest.raises(ResultError, match="cannot be meant"):
        judge((0, 0.0), (60, 100.0))
