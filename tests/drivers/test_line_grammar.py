from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.profile import LineField, NumberField, SignField, SpacesField, TextField, UnitField
from drivers.reading import Quality
from drivers.units import Unit
from tests.drivers.dialects import (
    DECIMALS,
    NAMES,
    Sent,
    encode,
    in_step,
    invented,
    read,
    shipped,
    shown_steps,
)

BAD_NUMBERS = re.findall(
    r"\S+",
    """
    nan NaN inf -inf infinity 1e999 1e5 1E5 1_0 1_000.5 1,234 1,234.5 1.234,5 -- ++1 +-1 -+1 1-1 1..2 1.2.3 .
    1. -. - + 0x10 1f 1d 1' 1% １２ ٣ ² 1111111111111111 1.2222222222222222
    """,
)
BAD_NUMBERS += ["1 2", "1\u00a02", "1\x002", "1\t", " ", ""]
ONLY_NUMBER = {
    "bare": NumberField(signed=True),
    "wide": NumberField(signed=True, width=9),
    "zeros": NumberField(width=9, fill="zero"),
}


@pytest.mark.parametrize("kind", ONLY_NUMBER)
@pytest.mark.parametrize("number", BAD_NUMBERS)
def test_what_is_not_a_plain_decimal_is_rejected(kind: str, number: str) -> None:
    profile = invented((TextField("<"), ONLY_NUMBER[kind], TextField(">")))
    for text in (number, number.rjust(9), number.ljust(9)):
        (reading,) = read(profile, f"<{text}>\r\n".encode())
        assert (reading.quality, reading.value) == (Quality.REJECTED, None), text


@pytest.mark.parametrize(
    ("kind", "number"),
    [
        ("bare", ".5"),
        ("wide", "       .5"),
        ("zeros", "       .5"),
        ("zeros", "      1.5"),
        ("zeros", "-000001.5"),
    ],
)
def test_a_number_must_be_written_as_the_profile_says(kind: str, number: str) -> None:
    profile = invented((ONLY_NUMBER[kind],))

    assert [r.quality for r in read(profile, f"{number}\r\n".encode())] == [Quality.REJECTED]


@pytest.mark.parametrize("number", ["1.5", "1.234", "1.234,5", "1,5,5", ",5", "1,"])
def test_with_a_decimal_comma_the_point_is_rejected(number: str) -> None:
    profile = invented((NumberField(decimal="comma"),))

    assert [r.value for r in read(profile, b"1,5\r\n")] == [1.5]
    assert [r.quality for r in read(profile, f"{number}\r\n".encode())] == [Quality.REJECTED]


@settings(deadline=None, max_examples=500)
@given(st.text(alphabet="0123456789+-., eE_nifaNx", max_size=12))
def test_the_number_grammar_is_this_one(text: str) -> None:
    profile = invented((NumberField(signed=True),))
    good = re.fullmatch(r"[-+]?[0-9]{1,15}(\.[0-9]{1,15})?", text)

    (reading,) = read(profile, f"{text}\r\n".encode())

    assert reading.value == (float(text) if good else None)


def test_a_number_outside_the_range_is_rejected() -> None:
    profile = shipped("streamed-line-pressure")
    lines = b"dp=+10000.0 Pa;ok\ndp=+10000.1 Pa;ok\ndp=-500.0 Pa;ok\ndp=-500.1 Pa;ok\n"

    assert [r.value for r in read(profile, lines)] == [10000.0, None, -500.0, None]


@pytest.mark.parametrize("name", NAMES)
def test_a_flipped_high_bit_is_rejected(name: str) -> None:
    profile = shipped(name)
    line = encode(profile, Sent(shown_steps(profile, 123), DECIMALS[name])).removesuffix(profile.terminator)
    for at in range(len(line)):
        broken = line[:at] + bytes([line[at] | 0x80]) + line[at + 1 :]
        (reading,) = read(profile, broken + profile.terminator)
        assert reading.quality is Quality.REJECTED
        assert f"\\x{line[at] | 0x80:02x}" in reading.raw


@pytest.mark.parametrize(
    ("fields", "line"),
    [
        ((NumberField(), TextField(" "), UnitField({"g": Unit.G})), "OVER g"),
        ((NumberField(width=8), TextField(" "), UnitField({"g": Unit.G})), "    OVER g"),
        ((SignField(("+",), ("-",)), NumberField(width=8), TextField("g")), "+    OVERg"),
        ((SignField(("+",), ("-",)), NumberField(width=8), TextField("g")), "OVERg"),
        ((SignField(("+",), ("-",)), SpacesField(0, 4), NumberField(), TextField("g")), "OVERg"),
        ((NumberField(), SignField(("",), ("-",)), TextField("g")), "OVERg"),
        ((NumberField(), TextField(" "), UnitField({"g": Unit.G})), "OVER"),
        ((NumberField(), TextField(" "), UnitField({"g": Unit.G})), "   OVER  "),
    ],
)
def test_a_mark_stands_for_the_number_for_both_or_for_the_line(
    fields: tuple[LineField, ...], line: str
) -> None:
    (reading,) = read(invented(fields), f"{line}\r\n".encode())

    assert (reading.quality, reading.value, reading.raw) == (Quality.OVERLOAD, None, line)


def test_a_mark_inside_garbage_is_garbage() -> None:
    profile = shipped("streamed-line-pressure")

    assert {r.quality for r in read(profile, b"xdp=OVER\ndp=OVERx\nOVER\n")} == {Quality.REJECTED}


def test_fewer_decimals_show_in_the_resolution() -> None:
    codec = in_step(shipped("polled-line-balance"))
    codec.receive(b"S +  412.356 g\r\nS +  412.36  g\r\nS +   412.36 g\r\nS +      412 g\r\n", 0)

    assert [(r.value, r.resolution) for r in codec.readings()] == [
        (412.356, 0.001),
        (None, None),
        (412.36, 0.01),
        (412.0, 1.0),
    ]
