"""The two field kinds that carry no reading: words and other numbers."""

from __future__ import annotations

import pytest

from drivers.line_codec import LineCodec
from drivers.profile_file import parse_profile
from drivers.reading import Quality
from drivers.toml_table import ProfileError

PROFILE = """title = "Net and tare"
quantity = "mass"
unit = "g"
mode = "streamed"
period_s = 0.1
terminator = "\\n"
[[field]]
kind = "word"
texts = ["N", "G"]
[[field]]
kind = "text"
text = ":"
[[field]]
kind = "number"
signed = true
[[field]]
kind = "text"
text = " T"
[[field]]
kind = "other"
"""


def read(*lines: str) -> list[tuple[float | None, Quality]]:
    codec = LineCodec(parse_profile(PROFILE.encode(), "p.toml"))
    codec.receive(b"\n", 0)
    for line in lines:
        codec.receive(line.encode() + b"\n", 0)
    return [(reading.value, reading.quality) for reading in codec.readings()]


def test_a_word_and_another_number_are_passed_over() -> None:
    lines = read("N:12.5 T 3.25", "G:-1.0 T-100", "N:0.1 T   + 7,5")

    assert lines == [(12.5, Quality.OK), (-1.0, Quality.OK), (0.1, Quality.OK)]


@pytest.mark.parametrize(
    "line", ["X:12.5 T1", ":12.5 T1", "N:12.5 T", "N:12.5 Tabc", "N:12.5 T1.", "N:12.5 T1e5"]
)
def test_another_word_or_no_number_is_no_line(line: str) -> None:
    assert read(line) == [(None, Quality.REJECTED)]


def test_another_number_may_not_run_into_the_number() -> None:
    text = PROFILE.replace('kind = "text"\ntext = ":"', 'kind = "other"')

    with pytest.raises(ProfileError, match="runs into this field"):
        parse_profile(text.encode(), "p.toml")
    with pytest.raises(ProfileError, match="texts names no text"):
        parse_profile(PROFILE.replace('["N", "G"]', '[""]').encode(), "p.toml")
