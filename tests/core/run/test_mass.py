import pytest

from logger.core.readings import Channel, Quality, Reading
from logger.core.run.mass import MassTracker


def at(t_s: float, value: float | None, stable: bool | None = True, quality: Quality = Quality.OK) -> Reading:
    return Reading(Channel.MASS, int(t_s * 1e9), value, quality, stable, 0.001, "raw")


def tracker(*readings: Reading) -> MassTracker:
    subject = MassTracker(resolution_g=0.001, gap_s=2)
    for reading in readings:
        subject.add(reading)
    return subject


def test_a_weight_is_steady_after_a_second_of_standing_still() -> None:
    subject = tracker(at(0, 412.356), at(0.5, 412.357))
    assert subject.steady_g(int(0.5e9)) is None
    subject.add(at(1.0, 412.356))
    assert subject.steady_g(int(1e9)) == 412.356


@pytest.mark.parametrize(
    ("last", "word"),
    [
        (at(1, 412.0, stable=False), "not stable"),
        (at(1, None, quality=Quality.OVERLOAD), "overload"),
        (at(1, None, quality=Quality.UNDERLOAD), "underload"),
        (at(1, None, quality=Quality.REJECTED), "profile"),
    ],
)
def test_no_weight_is_taken_from_a_reading_that_is_not_one(last: Reading, word: str) -> None:
    subject = tracker(at(0, 412.0), at(0.5, 412.0), last)
    assert subject.steady_g(int(1e9)) is None
    assert word in subject.why_not_steady(int(1e9))


def test_a_jump_within_the_second_starts_it_again() -> None:
    subject = tracker(at(0, 400.0), at(1, 400.0), at(1.2, 425.0))
    assert subject.steady_g(int(1.2e9)) is None


def test_a_stale_reading_is_no_weight() -> None:
    subject = tracker(at(0, 412.0), at(1, 412.0))
    assert subject.steady_g(int(1e9)) == 412.0
    assert subject.steady_g(int(4e9)) is None
    assert "cable" in subject.why_not_steady(int(4e9))


def test_a_gap_between_readings_is_not_standing_still() -> None:
    subject = tracker(at(0, 412.0), at(5, 412.0))
    assert subject.steady_g(int(5e9)) is None
