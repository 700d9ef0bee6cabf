from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.backoff import BackOff, BackOffPolicy

POLICY = BackOffPolicy()


def attempts(chances: list[float], good_s: list[float] | None = None, start_s: float = 100.0) -> list[float]:
    """The moments of attempts that fail at once, or after having been good for a while."""
    back_off, now_s, made = BackOff(POLICY), start_s, []
    for i, chance in enumerate(chances):
        now_s += back_off.wait_s(now_s)
        back_off.attempted(now_s, chance)
        made.append(now_s)
        if good_s is not None:
            back_off.good(good_s[i])
            now_s += good_s[i]
    return made


def test_the_waits_double_from_one_second_to_thirty() -> None:
    made = attempts([0.0] * 9)

    assert made[0] == 100.0
    assert [b - a for a, b in pairwise(made)] == [1, 2, 4, 8, 16, 30, 30, 30]


def test_chance_makes_a_wait_up_to_a_quarter_longer() -> None:
    assert [b - a for a, b in pairwise(attempts([1.0] * 4))] == pytest.approx([1.25, 2.5, 5.0])


def test_a_device_that_comes_back_late_is_opened_at_once() -> None:
    back_off = BackOff(POLICY)
    back_off.attempted(0.0, 0.0)

    assert back_off.wait_s(0.25) == 0.75
    assert back_off.wait_s(5.0) == 0.0


def test_a_good_link_starts_again_from_the_beginning() -> None:
    back_off = BackOff(POLICY)
    for _ in range(8):
        back_off.attempted(0.0, 0.0)
    back_off.good(29.9)
    assert back_off.wait_s(1.0) == 29.0
    back_off.good(30.0)
    assert back_off.wait_s(1.0) == 0.0


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0, 1), st.sampled_from([0.0, 0.1, 29.0, 31.0])), max_size=60))
def test_never_more_than_ten_attempts_in_a_minute(steps: list[tuple[float, float]]) -> None:
    made = attempts([chance for chance, _ in steps], [good for _, good in steps])

    assert all(b >= a for a, b in pairwise(made))
    assert all(later - first >= 60.0 - 1e-6 for first, later in zip(made, made[10:], strict=False))


def test_a_link_that_is_good_and_lost_over_and_over_is_held_to_ten_a_minute() -> None:
    back_off, now_s, made = BackOff(POLICY), 0.0, 0
    while now_s < 60.0:
        now_s += back_off.wait_s(now_s)
        if now_s < 60.0:
            back_off.attempted(now_s, 0.0)
            back_off.good(POLICY.good_s)  # as if a month of good link had passed in no time
            made += 1

    assert made == 10
