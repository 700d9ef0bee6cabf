"""The shipped profiles read the lines that their own comments describe."""

from __future__ import annotations

import pytest

from drivers.line_codec import LineCodec
from drivers.profile import Mode
from drivers.reading import Quality, Reading
from tests.drivers.dialects import NAMES, PROFILE_FOLDER, shipped

OVER, UNDER = Quality.OVERLOAD, Quality.UNDERLOAD
EXAMPLES: list[tuple[str, str, float | Quality, bool | None, float | None]] = [
    ("polled-line-balance", "S_+__412.356_g", 412.356, True, 0.001),
    ("polled-line-balance", "S_+____0.000_g", 0.0, True, 0.001),
    ("polled-line-balance", "D_-____0.012_g", -0.012, False, 0.001),
    ("polled-line-balance", "S_+^^^^^^^^^_g", OVER, True, None),
    ("polled-line-balance", "D_-vvvvvvvvv_g", UNDER, False, None),
    ("streamed-line-balance", "g______412,36_=_0417", 412.36, True, 0.01),
    ("streamed-line-balance", "g________0,00_=_0418", 0.0, True, 0.01),
    ("streamed-line-balance", "g______-12,05_~_0419", -12.05, False, 0.01),
    ("streamed-line-balance", "g____OVERLOAD_=_0420", OVER, True, None),
    ("streamed-line-balance", "g___UNDERLOAD_=_0421", UNDER, True, None),
    ("streamed-line-pressure", "dp=+2512.3_Pa;ok", 2512.3, True, 0.1),
    ("streamed-line-pressure", "dp=+0.0_Pa;ok", 0.0, True, 0.1),
    ("streamed-line-pressure", "dp=-3.1_Pa;mv", -3.1, False, 0.1),
    ("streamed-line-pressure", "dp=OVER", OVER, None, None),
    ("streamed-line-pressure", "dp=UNDER", UNDER, None, None),
    ("polled-line-pressure", "P1,-02.513,kPa", 2513.0, None, 1.0),
    ("polled-line-pressure", "P1,+00.000,kPa", 0.0, None, 1.0),
    ("polled-line-pressure", "P1,+00.003,kPa", -3.0, None, 1.0),
    ("polled-line-pressure", "P1,#######,kPa", OVER, None, None),
    ("polled-line-pressure", "P1,_______,kPa", UNDER, None, None),
]


def read_one(name: str, line: bytes) -> Reading:
    profile = shipped(name)
    codec = LineCodec(profile)
    codec.receive(profile.terminator + line + profile.terminator, 7)
    (reading,) = codec.readings()
    return reading


def test_every_shipped_profile_is_tested_here() -> None:
    assert {path.stem for path in PROFILE_FOLDER.glob("*.toml") if "line" in path.stem} == set(NAMES)
    assert {name for name, *_ in EXAMPLES} == set(NAMES)


@pytest.mark.parametrize(("name", "example", "value", "stable", "resolution"), EXAMPLES)
def test_an_example_of_the_comments_is_read_as_described(
    name: str, example: str, value: float | Quality, stable: bool | None, resolution: float | None
) -> None:
    assert example in (PROFILE_FOLDER / f"{name}.toml").read_text(encoding="utf-8")
    line = example if example.startswith("P1,") else example.replace("_", " ")

    reading = read_one(name, line.encode("ascii"))

    assert (reading.value if reading.quality is Quality.OK else reading.quality) == value
    assert str(reading.value) != "-0.0"
    assert (reading.stable, reading.resolution, reading.raw) == (stable, resolution, line)


@pytest.mark.parametrize(
    ("name", "line", "unit"),
    [
        ("polled-line-balance", "S + 0.412356 kg", "kg"),
        ("polled-line-balance", "S +   412356 mg", "mg"),
        ("polled-line-balance", "S +    0.909 lb", "lb"),
        ("polled-line-balance", "S +  412.356 Pa", "Pa"),
        ("streamed-line-balance", "kg    0,41236 = 0417", "kg"),
        ("streamed-line-balance", "oz      14,55 = 0417", "oz"),
        ("streamed-line-pressure", "dp=+25.123 mbar;ok", "mbar"),
        ("polled-line-pressure", "P1,-025.13,mbar", "mbar"),
    ],
)
def test_another_unit_is_told_and_never_converted(name: str, line: str, unit: str) -> None:
    profile = shipped(name)
    codec = LineCodec(profile)
    codec.receive(profile.terminator + line.encode("ascii") + profile.terminator, 7)

    (reading,) = codec.readings()

    assert (reading.quality, reading.value) == (Quality.WRONG_UNIT, None)
    assert codec.wrong_unit == unit


@pytest.mark.parametrize("name", NAMES)
def test_only_a_polled_instrument_is_asked(name: str) -> None:
    profile = shipped(name)

    assert bool(LineCodec(profile).request_bytes()) is (profile.mode is Mode.POLLED)
    assert profile.silence_s <= 2.0
