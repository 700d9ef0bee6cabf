"""The simple rules, and the digits of a slope kept by running sums."""

from __future__ import annotations

import numpy as np
import pytest

from logger.core.baselines import MinuteRule, SlidingSlope, SlopeRule


def test_running_sums_stay_exact_over_a_day() -> None:
    # The exact slope of each window is computed anew; a day at 2 Hz on a loaded platform (9.4 kg).
    rng = np.random.default_rng(5)
    t = np.arange(0, 86_400, 0.5)
    mass = 9_400.0 - 1e-4 * t + 0.01 * rng.normal(size=t.size)
    slope = SlidingSlope(60.0)
    worst = 0.0
    for i, (a, b) in enumerate(zip(t.tolist(), mass.tolist(), strict=True)):
        slope.add(a, b)
        if i > 200 and i % 997 == 0:
            inside = slice(i - 120, i + 1)
            centred = t[inside] - t[inside].mean()
            exact = float(centred @ (mass[inside] - mass[i])) / float(centred @ centred)
            worst = max(worst, abs(slope.slope - exact))
    assert worst < 1e-9


def test_slope_rule_stops_when_its_window_is_full_and_slow_enough() -> None:
    rule = SlopeRule(60.0, 50.0, 0.1, 60.0)
    for t in range(200):
        rule.add(float(t), 50.0 - 0.0004 * t)  # 0.048 %/min
    assert rule.stop_s == pytest.approx(60.0, abs=2)


def test_minute_rule_looks_once_a_minute() -> None:
    rule = MinuteRule(50.0, 0.1, 60.0)
    for t in range(400):
        rule.add(float(t), 50.0 - (0.002 * min(t, 150)))
    assert rule.stop_s == 240.0
