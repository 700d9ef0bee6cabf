"""Packed batches come back bit by bit, take few bytes a reading, and damage is told."""

from __future__ import annotations

import random
import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.readings import Channel, Quality, Reading
from logger.store.columns import from_planes, to_planes
from logger.store.forms import Forms, join_line, split_line
from logger.store.packing import Packable, pack, unpack
from logger.store.readings_codec import decode, encode
from tests.store.quick_runs import real_run, short_run

RAW = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=20) | st.text(
    string.digits + ".-+ g", max_size=20
)
READING = st.builds(
    Reading,
    channel=st.sampled_from(Channel),
    at_ns=st.integers(0, 1 << 60),
    value=st.none()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.integers(-9999, 9999).map(lambda n: n / 100),
    quality=st.sampled_from(Quality),
    stable=st.sampled_from([None, True, False]),
    resolution=st.sampled_from([None, 0.001, 0.1]),
    raw=RAW,
)
UTC = st.sampled_from(
    ["2026-01-05T06:00:00.000Z", "1969-12-31T23:59:59.999Z", "unknown", "", "2026-01-05T06:00:00Z"]
)
BATCH = st.builds(
    Packable,
    at_ns=st.integers(-(1 << 60), 1 << 60),
    utc=UTC,
    events=st.sampled_from(["[]", '[{"kind":"noted","text":"µ"}]']),
    readings=st.lists(READING, max_size=6).map(encode),
)


@settings(deadline=None, max_examples=60)
@given(st.lists(BATCH, min_size=1, max_size=8))
def test_whatever_was_handed_over_comes_back(batches: list[Packable]) -> None:
    assert unpack(pack(batches)) == batches


@settings(deadline=None, max_examples=100)
@given(st.lists(READING, max_size=5))
def test_readings_come_back_from_their_lines(readings: list[Reading]) -> None:
    assert decode(encode(readings)) == readings


@pytest.mark.parametrize(
    ("value", "raw"),
    [
        (12.345, "S +   12.345 g"),
        (-0.001, "S -    0.001 g"),
        (-0.0, "S -    0.000 g"),
        (2493.0, "dp=+2493.0 Pa;ok"),
        (2493.0, "24.930 mbar"),
        (12345.0, "12.345 kg"),
        (7.0, "0007"),
        (1.5, "id 7 value 1.5"),
        (0.1, "00.10"),
        (3.0, "nothing to read"),
        (1e22, "10000000000000000000000"),
    ],
)
def test_value_and_raw_line_share_their_digits_where_they_can(value: float, raw: str) -> None:
    line = encode([Reading(Channel.MASS, 5, value, raw=raw)]).decode()
    forms = Forms()
    column = split_line(line, forms)
    assert join_line(forms, *column) == line


def test_numbers_of_every_size_come_back() -> None:
    numbers = [0, -1, 1, 255, -256, 1 << 40, -(1 << 61), (1 << 62) - 1]
    assert from_planes(to_planes(numbers)) == numbers
    assert from_planes(to_planes([])) == []
    with pytest.raises(OverflowError):
        to_planes([1 << 62])


def test_a_finished_run_takes_at_most_six_bytes_a_reading() -> None:
    """The simulated arrival times are regular; they get a jitter of 5 ms, more than real ports showed."""
    run, jitter = real_run(), random.Random(1)
    jittered = [
        Reading(
            r.channel,
            r.at_ns + jitter.randrange(5_000_000),
            r.value,
            r.quality,
            r.stable,
            r.resolution,
            r.raw,
        )
        for r in run.readings
    ]
    batches = [
        Packable(
            part[-1].at_ns,
            f"2026-01-05T06:{i // 600 % 60:02}:{i // 10 % 60:02}.{i * 37 % 1000:03}Z",
            "[]",
            encode(part),
        )
        for i, part in enumerate(jittered[start : start + 3] for start in range(0, len(jittered), 3))
    ]
    marks = 2 * len(batches)
    size = (len(pack(batches[:4096])) + len(pack(batches[4096:] or batches[:1])) + marks) / len(jittered)
    print(f"{size:.2f} bytes a reading, raw lines and marks included")
    assert size <= 6.0


def test_any_flipped_byte_is_told() -> None:
    run = short_run(1, readings=40)
    batches = [
        Packable(1, "2026-01-05T06:00:00.000Z", "[]", encode(run.readings[i : i + 4]))
        for i in range(0, 40, 4)
    ]
    packed = pack(batches)
    silent = []
    for place in range(len(packed)):
        damaged = packed[:place] + bytes([packed[place] ^ 0x10]) + packed[place + 1 :]
        try:
            if unpack(damaged) != batches:
                silent.append(place)
        except ValueError:
            continue
    assert silent == []
