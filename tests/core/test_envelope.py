"""A run beside the earlier ones of its method."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.envelope import beside_earlier

EARLIER = [[(0.0, 100.0), (60.0, load), (120.0, load - 10)] for load in (30.0, 31.0, 34.0)]


@pytest.mark.parametrize(
    ("t_s", "load_pct", "word"),
    [
        (60.0, 32.0, "like"),
        (60.0, 37.9, "like"),
        (60.0, 38.1, "slower"),
        (60.0, 25.9, "faster"),
        (90.0, 33.1, "slower"),
        (500.0, 21.0, "like"),
        (500.0, 28.1, "slower"),
    ],
)
def test_outside_by_more_than_their_spread(t_s: float, load_pct: float, word: str) -> None:
    found = beside_earlier(t_s, load_pct, EARLIER)
    assert found is not None
    assert found.word == word
    assert found.count == 3


def test_runs_that_are_very_alike_leave_room_for_one_percent() -> None:
    alike = [[(0.0, 100.0), (60.0, 30.0)]] * 5
    words = [found.word for load in (29.1, 30.9, 31.1) if (found := beside_earlier(60.0, load, alike))]
    assert words == ["like", "like", "slower"]


def test_clocks_that_differ_by_seconds_make_no_odd_run() -> None:
    steep = [[(0.0, 100.0), (50.0, 50.0), (100.0, 30.0)]] * 3
    found = [beside_earlier(30.0, load, steep, slack_s=5.0) for load in (64.1, 70.0, 75.9, 76.1, 63.9)]
    assert [each.word for each in found if each] == ["like", "like", "like", "slower", "faster"]
    assert beside_earlier(3.0, 99.0, steep, slack_s=5.0) is None


def test_too_few_say_nothing() -> None:
    assert beside_earlier(60.0, 99.0, EARLIER[:2]) is None
    late = [[(50.0, 40.0), (60.0, 30.0)]] * 3
    assert beside_earlier(10.0, 99.0, late) is None
    assert beside_earlier(10.0, 99.0, [[], [], []]) is None


@settings(deadline=None)
@given(st.floats(0, 200), st.floats(0, 1))
def test_a_load_among_the_earlier_ones_is_like_them(t_s: float, share: float) -> None:
    edges = beside_earlier(t_s, 0.0, EARLIER)
    assert edges is not None
    assert 20.0 <= edges.low_pct <= edges.high_pct <= 100.0
    found = beside_earlier(t_s, edges.low_pct + share * (edges.high_pct - edges.low_pct), EARLIER)
    assert found is not None
    assert found.word == "like"
