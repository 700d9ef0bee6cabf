"""When to try a lost peer again."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.backoff import Retry, RetryRules


def test_waits_double_from_one_second_to_sixty() -> None:
    subject = Retry()
    waits = [subject.wait_s(0.0, 0.0) for _ in range(8)]
    assert waits == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0]


def test_jitter_takes_up_to_a_quarter_off() -> None:
    assert Retry().wait_s(0.0, 1.0) == 0.75


def test_a_good_link_forgives_and_a_short_one_does_not() -> None:
    subject = Retry()
    subject.wait_s(0.0, 0.0)
    subject.wait_s(0.0, 0.0)
    subject.up(10.0)
    subject.lost(39.9)
    assert subject.wait_s(39.9, 0.0) == 4.0
    subject.up(100.0)
    subject.lost(130.0)
    assert subject.wait_s(130.0, 0.0) == 1.0


def test_a_cause_for_a_person_waits_long_from_the_start() -> None:
    assert Retry().wait_s(0.0, 0.0, slow=True) == 60.0


def test_a_link_that_flaps_every_half_minute_is_still_held_to_ten_a_minute() -> None:
    subject = Retry(RetryRules(first_s=0.001, cap_s=0.001))
    now_s, attempts = 0.0, []
    for _ in range(50):
        subject.attempted(now_s)
        attempts.append(now_s)
        now_s += subject.wait_s(now_s, 0.0)
    assert all(later - earlier >= 60.0 for earlier, later in zip(attempts, attempts[10:], strict=False))


@settings(deadline=None)
@given(st.lists(st.tuples(st.floats(0, 200), st.floats(0, 1), st.booleans()), max_size=60))
def test_never_more_than_ten_attempts_in_any_minute(ends: list[tuple[float, float, bool]]) -> None:
    """Links of any length, any jitter: eleven attempts always span at least a minute."""
    subject, now_s, attempts = Retry(), 0.0, []
    for held_s, jitter, slow in ends:
        subject.attempted(now_s)
        attempts.append(now_s)
        subject.up(now_s)
        now_s += held_s
        subject.lost(now_s)
        now_s += subject.wait_s(now_s, jitter, slow=slow)
    assert all(
        later - earlier >= 60.0 - 1e-9 for earlier, later in zip(attempts, attempts[10:], strict=False)
    )
