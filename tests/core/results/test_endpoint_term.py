"""The endpoint's term from what a run recorded."""

from __future__ import annotations

import math

import pytest

from logger.core.endpoint_term import interval_endpoint, live_endpoint
from logger.core.interval_rules import WeighingPoint
from logger.core.residue_budget import TYPICAL_TAIL_EXPONENT
from logger.core.uncertainty import Component, NotIncluded


def point(effective_s: float, load_g: float) -> WeighingPoint:
    return WeighingPoint(effective_s=effective_s, load_g=load_g)


def test_live_term_holds_the_rate_s_uncertainty_and_the_delay() -> None:
    found = live_endpoint(0.1, 0.0125, 450.0, 470.0)
    assert isinstance(found, Component)
    stop = 450 / 60 * 0.0125 / TYPICAL_TAIL_EXPONENT
    assert found.u == pytest.approx(math.hypot(stop, 0.1 * 20 / 60 / math.sqrt(3)))
    for suction_off_s in (None, 449.0):
        without_delay = live_endpoint(0.1, 0.0125, 450.0, suction_off_s)
        assert isinstance(without_delay, Component)
        assert without_delay.u == pytest.approx(stop)


def test_interval_term_from_the_last_two_weighings() -> None:
    # By hand: 40 mg of 25 g in 2 min is 0.08 %/min; one interval's width is 0.16 %.
    found = interval_endpoint(25.0, [point(0, 25.0), point(300, 3.0), point(420, 2.96)], 0.0)
    assert isinstance(found, Component)
    assert found.u == pytest.approx(0.16 / math.sqrt(12))
    noisy = interval_endpoint(25.0, [point(0, 25.0), point(300, 3.0), point(420, 2.96)], 0.001)
    assert isinstance(noisy, Component)
    rate_u = math.sqrt(2) * 0.001 * 100 / 25 / 2
    assert noisy.u == pytest.approx(math.hypot(0.16 / math.sqrt(12), 7 * rate_u / TYPICAL_TAIL_EXPONENT))


def test_what_is_not_known_is_said() -> None:
    assert isinstance(live_endpoint(None, None, 450.0, 455.0), NotIncluded)
    single = interval_endpoint(25.0, [point(0, 25.0), point(300, 3.0)], 0.001)
    assert isinstance(single, NotIncluded)
    assert "one weighing after the charge" in single.reason
