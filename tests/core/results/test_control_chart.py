"""Control chart of a reference powder."""

from __future__ import annotations

import numpy as np
import pytest

from logger.core.control_chart import control_chart, control_limits
from logger.core.refusal import ResultError


def signals(*distances: float) -> list[str]:
    chart = control_chart([5 + 0.1 * d for d in distances], 5.0, 0.1)
    return [point.signal for point in chart.points]


def test_limits_from_the_moving_range() -> None:
    # Moving ranges all 0.2: s = 0.2 / 1.128 (by hand).
    centre, sd = control_limits([5.0, 5.2] * 5)
    assert centre == pytest.approx(5.1)
    assert sd == pytest.approx(0.2 / 1.128)


def test_limits_estimate_the_spread() -> None:
    drawn = 5 + 0.1 * np.random.default_rng(8).standard_normal(20_000)
    assert control_limits(list(drawn)) == pytest.approx((5.0, 0.1), rel=0.02)


def test_quiet_series() -> None:
    assert set(signals(0.1, -0.5, 1.2, -1.9, 0.4, 0.6, -0.2, 1.0)) == {"none"}


def test_each_rule() -> None:
    assert signals(0.1, 3.1)[-1] == "action"
    assert signals(0.1, -2.1)[-1] == "warning"
    assert signals(2.1, 0.1, 2.2)[-1] == "action"
    assert signals(2.1, 0.1, -2.2)[-1] == "warning"
    assert signals(*[0.3, 0.5] * 4)[-2:] == ["none", "action"]
    assert signals(-1.0, -0.5, 0.0, 0.5, 1.0, 1.5)[-2:] == ["none", "warning"]
    assert signals(1.0, 0.5, 0.0, -0.5, -1.0, -1.5)[-1] == "warning"


def test_false_alarms_of_the_action_limit_are_rare() -> None:
    drawn = np.random.default_rng(6).standard_normal(20_000)
    beyond = [p for p in control_chart(list(drawn), 0.0, 1.0).points if "beyond the action" in p.reason]
    assert len(beyond) / 20_000 == pytest.approx(0.0027, abs=0.0012)


def test_chart_limits() -> None:
    chart = control_chart([5.0], 5.0, 0.1)
    assert chart.warning_pct == pytest.approx((4.8, 5.2))
    assert chart.action_pct == pytest.approx((4.7, 5.3))


def test_too_few_or_equal_starting_results_are_refused() -> None:
    with pytest.raises(ResultError, match="8 or more results"):
        control_limits([5.0] * 7)
    with pytest.raises(ResultError, match="all starting results are equal"):
        control_limits([5.0] * 8)
    with pytest.raises(ResultError, match="above zero"):
        control_chart([5.0], 5.0, 0.0)
