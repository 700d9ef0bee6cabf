"""What an instrument adds to its line is not taken for ours: its clock, its second reading of the same moment."""

from __future__ import annotations

from datetime import datetime, timedelta

from drivers.profile import IgnoredField, NumberField, TextField, UnitField
from drivers.reading import Quality
from drivers.units import Unit
from tests.drivers.dialects import in_step, invented

DATED = invented((IgnoredField(19), TextField(" "), NumberField(), TextField(" "), UnitField({"g": Unit.G})))


def test_a_clock_in_the_line_is_kept_in_the_raw_text_and_used_for_nothing() -> None:
    """The instrument's clock runs backwards an hour between two lines that arrive a tenth of a second apart."""
    codec = in_step(DATED)
    first = datetime(2026, 3, 29, 3, 0)
    for count in range(2):
        said = (first - timedelta(hours=count)).isoformat(sep="T")
        codec.receive(f"{said} {412.356 + count:.3f} g\r\n".encode(), count * 100_000_000)
    one, two = codec.readings()
    said_s = [datetime.fromisoformat(reading.raw[:19]).timestamp() for reading in (one, two)]
    assert said_s[1] - said_s[0] == -3600, "the fault bites: by its own clock it took less than no time"
    assert two.at_ns - one.at_ns == 100_000_000
    assert (one.value, one.quality) == (412.356, Quality.OK)
