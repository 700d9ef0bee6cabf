"""How lines come: decimals, doubled lines, bursts and rate are noticed, and an ordinary stream is not."""

from __future__ import annotations

from collections.abc import Iterable

from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.readings import Channel, Quality, Reading
from logger.core.run.lines import LineWatch


def at(t_s: float, resolution: float | None = 0.01, repeated: bool = False) -> Reading:
    return Reading(Channel.MASS, round(t_s * 1e9), 412.36, Quality.OK, True, resolution, "g", repeated)


def keys(readings: Iterable[Reading], period_s: float | None = 0.1) -> list[str]:
    subject = LineWatch("balance", "balance", "g", gap_s=2.0, period_s=period_s)
    return [key for reading in readings for key, _ in subject.add(reading)]


def stream(seconds: float, each: int = 1, repeated: bool = False) -> list[Reading]:
    return [
        at(count / 10, repeated=repeated and copy > 0)
        for count in range(round(seconds * 10))
        for copy in range(each)
    ]


def test_an_ordinary_stream_is_not_remarked() -> None:
    assert keys(stream(60)) == []


@settings(deadline=None, max_examples=50)
@given(st.lists(st.floats(0.0, 0.09), min_size=300, max_size=300))
def test_jitter_below_a_period_is_not_remarked(jitter: list[float]) -> None:
    assert keys(at(count / 10 + late) for count, late in enumerate(jitter)) == []


def test_other_decimals_than_at_the_start_are_told_with_both() -> None:
    subject = LineWatch("balance", "balance", "g", gap_s=2.0)
    assert subject.add(at(0.0, 0.001)) == []
    ((key, text),) = subject.add(at(0.1, 0.01))
    assert key == "balance-decimals"
    assert "0.01 g now" in text
    assert "0.001 g when the run began" in text
    assert subject.digit == 0.001


def test_a_line_without_a_known_digit_changes_nothing() -> None:
    assert keys([at(0.0, 0.001), at(0.1, None), at(0.2, 0.001)]) == []


def test_lines_held_back_and_sent_at_once_are_a_burst() -> None:
    held = [at(0.1 * count) for count in range(10)] + [at(3.0 + 0.001 * count) for count in range(20)]
    assert keys(held) == ["balance-burst"]


def test_a_pause_alone_is_no_burst() -> None:
    late = [at(0.1 * count) for count in range(10)] + [at(3.0 + 0.1 * count) for count in range(10)]
    assert keys(late) == []


def test_a_counter_that_stands_still_between_lines_tells_doubled_ones() -> None:
    assert set(keys(stream(25, each=2, repeated=True), period_s=None)) == {"balance-repeats"}


def test_without_a_counter_the_rate_tells_doubled_lines() -> None:
    assert set(keys(stream(25, each=2))) == {"balance-rate"}


def test_one_repeat_is_an_accident() -> None:
    assert keys([*stream(5), at(5.0, repeated=True), *(at(5.1 + r.at_ns / 1e9) for r in stream(10))]) == []
