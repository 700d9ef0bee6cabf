"""Several determinations of one sample."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from logger.core.determinations import (
    MEDIAN_OVER_MEAN,
    RANGE_FACTORS,
    centre,
    critical_range_pct,
    judge,
    repeatability_limit,
    repeatability_of,
    sd,
    sd_from_pairs,
)
from logger.core.method import Determinations
from logger.core.refusal import ResultError

TWO = Determinations(count=2, repeatability_limit_pct=0.6)


def test_repeatability_from_duplicates() -> None:
    # Differences 0.2, 0.3, 0.1, 0.4 %: s_r = sqrt(0.30 / 8) = 0.1936 %, r = 0.54 % (computed).
    s_r = sd_from_pairs([0.2, 0.3, -0.1, 0.4])
    assert s_r == pytest.approx(0.1936, abs=5e-5)
    assert repeatability_limit(s_r) == pytest.approx(0.54, abs=5e-3)


@pytest.mark.parametrize(("s_r", "d2s"), [(0.75, 2.1), (0.50, 1.4)])
def test_the_factor_2_8_in_published_precision(s_r: float, d2s: float) -> None:
    # ASTM C430-08 precision: 1s 0.75 % and d2s 2.1 %, 1s 0.50 % and d2s 1.4 % (read second-hand).
    assert repeatability_limit(s_r) == pytest.approx(d2s, rel=1e-12)


@pytest.mark.parametrize(("count", "computed"), [(2, 2.77), (3, 3.31), (4, 3.63), (5, 3.86)])
def test_critical_range_factors_against_scipy(count: int, computed: float) -> None:
    # ISO 5725-6 prints 2.8, 3.3, 3.6, 3.9 (from memory); computed with SciPy's studentized range.
    exact = float(stats.studentized_range.ppf(0.95, count, 1e9))
    assert exact == pytest.approx(computed, abs=5e-3)
    assert RANGE_FACTORS[count] == pytest.approx(exact, abs=0.06)


def test_all_printed_range_factors_are_the_computed_ones_rounded() -> None:
    for count, printed in RANGE_FACTORS.items():
        assert printed == pytest.approx(float(stats.studentized_range.ppf(0.95, count, 1e9)), abs=0.055)


def test_median_factors_by_monte_carlo() -> None:
    rng = np.random.default_rng(1)
    for count, factor in MEDIAN_OVER_MEAN.items():
        drawn = np.median(rng.standard_normal((200_000, count)), axis=1)
        assert float(np.std(drawn)) * math.sqrt(count) == pytest.approx(factor, rel=0.01)


def test_two_that_agree_give_their_mean() -> None:
    found = judge([3.1, 3.4], TWO)
    assert (found.status, found.value_pct) == ("final", 3.25)
    assert found.text == "mean of 2, 0.30 % apart, 0.60 % allowed for 2"


def test_a_difference_of_just_the_limit_agrees() -> None:
    assert judge([3.1, 3.7], TWO).status == "final"


def test_two_that_do_not_agree_ask_for_a_third() -> None:
    found = judge([3.1, 3.8], TWO)
    assert found.status == "one-more"
    assert found.text == (
        "the determinations are 0.70 % apart, 0.60 % allowed for 2: do one more on a fresh test portion"
    )
    with pytest.raises(ResultError, match="do one more"):
        found.result_pct()


def test_third_fourth_and_median() -> None:
    # Critical ranges 0.6 x 3.3 / 2.8 = 0.707 and 0.6 x 3.6 / 2.8 = 0.771 % (computed by hand).
    assert critical_range_pct(3, 0.6) == pytest.approx(0.7071, abs=5e-5)
    assert critical_range_pct(4, 0.6) == pytest.approx(0.7714, abs=5e-5)
    third = judge([3.1, 3.8, 3.3], TWO)
    assert third.status == "final"
    assert third.value_pct == pytest.approx(3.4)
    assert judge([3.1, 3.9, 3.3], TWO).status == "one-more"
    last = judge([3.1, 3.9, 3.3, 3.4], TWO)
    assert (last.status, last.statistic) == ("final", "median")
    assert last.value_pct == pytest.approx(3.35)
    assert "look for the cause" in last.text


def test_one_where_two_are_asked_gives_no_figure() -> None:
    found = judge([3.1], TWO)
    assert found.status == "incomplete"
    assert found.value_pct is None
    with pytest.raises(ResultError, match="1 of 2 determinations done"):
        found.result_pct()
    assert judge([], TWO).text.startswith("0 of 2")


def test_median_by_the_method_and_one_alone() -> None:
    three = Determinations(count=3, statistic="median")
    assert judge([3.0, 9.0, 3.2], three).value_pct == 3.2
    assert judge([3.0], Determinations()).value_pct == 3.0
    assert judge([3.0], Determinations()).text == "one determination, as the method asks"


@settings(deadline=None)
@given(st.lists(st.floats(0, 100), min_size=1, max_size=8), st.randoms())
def test_permuting_determinations_leaves_the_result(values: list[float], random: object) -> None:
    shuffled = list(values)
    getattr(random, "shuffle")(shuffled)  # noqa: B009
    first, second = judge(values, TWO), judge(shuffled, TWO)
    assert (first.status, first.value_pct, first.text) == (second.status, second.value_pct, second.text)


def test_repeatability_component_from_limit_or_from_scatter() -> None:
    from_limit = repeatability_of(judge([3.1, 3.4], TWO), TWO)
    assert from_limit is not None
    assert from_limit.contribution_pct == pytest.approx(0.6 / 2.8 / math.sqrt(2))
    free = Determinations(count=3, statistic="median")
    from_scatter = repeatability_of(judge([3.0, 3.2, 3.4], free), free)
    assert from_scatter is not None
    assert from_scatter.dof == 2
    assert from_scatter.contribution_pct == pytest.approx(0.2 * 1.160 / math.sqrt(3))
    assert repeatability_of(judge([3.0], Determinations()), Determinations()) is None


def test_small_things_refused() -> None:
    with pytest.raises(ResultError, match="two or more values"):
        sd([1.0])
    with pytest.raises(ResultError, match="no duplicates"):
        sd_from_pairs([])
    with pytest.raises(ResultError, match="no determination"):
        centre([], "mean")
    with pytest.raises(ResultError, match="at most 10"):
        critical_range_pct(11, 0.6)
    with pytest.raises(ResultError, match="determination 2 is not a number"):
        judge([3.0, math.nan], TWO)
