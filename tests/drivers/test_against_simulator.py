"""The simulator's lines, written by somebody else from the profiles' comments, are read as they were meant."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.line_codec import LineCodec
from drivers.profile import StabilityField
from drivers.reading import Quality, Reading
from simulators.dialects import DIALECTS, Manner, Shown
from tests.drivers.dialects import NAMES, in_step, shipped


def said(codec: LineCodec, name: str, shown: Shown, manner: Manner, counter: int = 0) -> Reading:
    codec.receive(DIALECTS[name].line(shown, manner, counter), 0)
    (reading,) = codec.readings()
    return reading


@settings(deadline=None)
@given(st.sampled_from(NAMES), st.floats(0, 1), st.booleans(), st.integers(0, 1))
def test_values_marks_and_decimals_come_through(name: str, share: float, stable: bool, fewer: int) -> None:
    profile, dialect = shipped(name), DIALECTS[name]
    value = dialect.low + share * (dialect.high - dialect.low)
    as_delivered = said(in_step(profile), name, Shown(0.0), Manner())
    assert as_delivered.resolution is not None

    reading = said(in_step(profile), name, Shown(value, stable), Manner(fewer_decimals=fewer))

    assert reading.quality is Quality.OK
    assert reading.value is not None
    assert reading.resolution == pytest.approx(as_delivered.resolution * 10**fewer)
    assert reading.value == pytest.approx(value, abs=0.5001 * as_delivered.resolution * 10**fewer)
    has_mark = any(isinstance(item, StabilityField) for item in profile.fields)
    assert reading.stable == (stable if has_mark else None)


@pytest.mark.parametrize("name", NAMES)
def test_over_under_and_another_unit_come_through(name: str) -> None:
    dialect, codec = DIALECTS[name], in_step(shipped(name))
    middle = (dialect.low + dialect.high) / 20

    assert said(codec, name, Shown(dialect.high * 1.1), Manner(), 1).quality is Quality.OVERLOAD
    assert said(codec, name, Shown(dialect.low * 1.1), Manner(), 2).quality is Quality.UNDERLOAD
    assert said(codec, name, Shown(middle), Manner(unit=dialect.other_unit), 3).quality is Quality.WRONG_UNIT
    assert codec.wrong_unit == dialect.other_unit


@pytest.mark.parametrize("name", NAMES)
def test_request_and_terminator_are_the_same_at_both_ends(name: str) -> None:
    profile, dialect = shipped(name), DIALECTS[name]

    assert (profile.request or None, profile.terminator) == (dialect.request, dialect.terminator)
    assert profile.period_s == dialect.period_s
