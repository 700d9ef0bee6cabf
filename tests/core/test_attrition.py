"""A tail ceases, wear does not, and noise cannot tell."""

from __future__ import annotations

import numpy as np
import pytest

from logger.core.attrition import check_attrition


def loads(total_s: float, exponent: float, wear: float = 0.0) -> tuple[float, float, float]:
    def at(t: float) -> float:
        return 10.0 + 8.0 * float(np.exp((1.0 - exponent) * np.log(t / 100.0))) - wear * t / 60

    return at(total_s / 4), at(total_s / 2), at(total_s)


@pytest.mark.parametrize("exponent", [1.3, 1.6, 2.5])
def test_a_power_tail_ceases(exponent: float) -> None:
    found = check_attrition(1200, *loads(1200, exponent), 0.002, 0.1)
    assert found.verdict == "ceases"
    assert found.exponent == pytest.approx(exponent, abs=0.01)


@pytest.mark.parametrize("wear", [0.1, 0.3])
def test_constant_wear_does_not_cease(wear: float) -> None:
    found = check_attrition(2400, *loads(2400, 2.0, wear), 0.002, 0.1)
    assert found.verdict == "does-not-cease"
    assert found.wear_pct_per_min <= wear
    assert "fixed time" in found.text


def test_coarse_weighings_cannot_tell_and_say_what_would() -> None:
    found = check_attrition(600, *loads(600, 1.4), 0.1, 0.1)
    assert found.verdict == "cannot-tell"
    assert "Sieve for" in found.text


def test_uncertainty_is_that_of_the_combination() -> None:
    rng = np.random.default_rng(1)
    wears = [
        check_attrition(1200, 12 + a, 11 + b, 10.5 + c, 0.01, 0.1).wear_pct_per_min
        for a, b, c in 0.01 * rng.normal(size=(4000, 3))
    ]
    claimed = check_attrition(1200, 12, 11, 10.5, 0.01, 0.1).wear_u_pct_per_min
    assert np.std(wears) == pytest.approx(claimed, rel=0.05)


def test_times_that_cannot_be_meant_are_refused() -> None:
    with pytest.raises(ValueError, match="time must be above zero"):
        check_attrition(0, 1, 1, 1, 0.1, 0.1)
