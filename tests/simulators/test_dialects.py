"""Our lines against the layout comments of the profiles, which were written down before either end."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulators.dialects import (
    DIALECTS,
    Dialect,
    Manner,
    Shown,
    UnknownDialectError,
    find_dialect,
    requests_in,
)

PROFILES = Path(__file__).parents[2] / "config" / "profiles"

EXAMPLES: list[tuple[str, str, Shown, int]] = [
    ("polled-line-balance", "S_+__412.356_g", Shown(412.356), 0),
    ("polled-line-balance", "S_+____0.000_g", Shown(0.0), 0),
    ("polled-line-balance", "D_-____0.012_g", Shown(-0.012, False), 0),
    ("polled-line-balance", "S_+^^^^^^^^^_g", Shown(700.0), 0),
    ("polled-line-balance", "D_-vvvvvvvvv_g", Shown(-60.0, False), 0),
    ("streamed-line-balance", "g______412,36_=_0417", Shown(412.36), 417),
    ("streamed-line-balance", "g________0,00_=_0418", Shown(0.0), 418),
    ("streamed-line-balance", "g______-12,05_~_0419", Shown(-12.05, False), 419),
    ("streamed-line-balance", "g____OVERLOAD_=_0420", Shown(33_000.0), 420),
    ("streamed-line-balance", "g___UNDERLOAD_=_0421", Shown(-600.0), 421),
    ("streamed-line-pressure", "dp=+2512.3_Pa;ok", Shown(2512.3), 0),
    ("streamed-line-pressure", "dp=+0.0_Pa;ok", Shown(0.0), 0),
    ("streamed-line-pressure", "dp=-3.1_Pa;mv", Shown(-3.1, False), 0),
    ("streamed-line-pressure", "dp=OVER", Shown(10_001.0), 0),
    ("streamed-line-pressure", "dp=UNDER", Shown(-501.0), 0),
    ("polled-line-pressure", "P1,-02.513,kPa", Shown(2513.0), 0),
    ("polled-line-pressure", "P1,+00.000,kPa", Shown(0.0), 0),
    ("polled-line-pressure", "P1,+00.003,kPa", Shown(-3.0), 0),
    ("polled-line-pressure", "P1,#######,kPa", Shown(10_001.0), 0),
    ("polled-line-pressure", "P1,_______,kPa", Shown(-501.0), 0),
]

LAYOUT = {
    "polled-line-balance": rb"[SD] [+-](?=.{9} g)( *[0-9]+\.[0-9]{3}|\^{9}|v{9}) g\r\n",
    "streamed-line-balance": rb"g  (?=.{10} )( *-?[0-9]+,[0-9]{2}| *OVERLOAD| *UNDERLOAD) [=~] [0-9]{4}\r",
    "streamed-line-pressure": rb"dp=([+-](0|[1-9][0-9]{0,4})\.[0-9] Pa;(ok|mv)|OVER|UNDER)\n",
    "polled-line-pressure": rb"P1,([+-][0-9]{2}\.[0-9]{3}|#{7}|_{7}),kPa\r\n",
}


@pytest.mark.parametrize(("name", "example", "shown", "counter"), EXAMPLES, ids=[e[1] for e in EXAMPLES])
def test_every_example_of_the_layout_comes_out_as_written(
    name: str, example: str, shown: Shown, counter: int
) -> None:
    assert example in (PROFILES / f"{name}.toml").read_text()
    dialect = DIALECTS[name]
    spaced = example if name == "polled-line-pressure" else example.replace("_", " ")
    assert dialect.line(shown, counter=counter) == spaced.encode() + dialect.terminator


@pytest.mark.parametrize("dialect", DIALECTS.values(), ids=DIALECTS)
def test_request_pace_and_terminator_are_those_of_the_profile(dialect: Dialect) -> None:
    profile = tomllib.loads((PROFILES / f"{dialect.name}.toml").read_text())
    assert dialect.period_s == profile["period_s"]
    assert dialect.terminator == profile["terminator"].encode()
    assert dialect.request == (profile["request"].encode() if profile["mode"] == "polled" else None)


@given(st.sampled_from(sorted(DIALECTS)), st.floats(-2000, 50_000), st.booleans(), st.integers(0, 2**31))
@settings(deadline=None)
def test_whatever_is_shown_fits_the_layout(name: str, value: float, stable: bool, counter: int) -> None:
    assert re.fullmatch(LAYOUT[name], DIALECTS[name].line(Shown(value, stable), counter=counter))


@given(st.sampled_from(sorted(DIALECTS)), st.floats(-49, 619))
@settings(deadline=None)
def test_the_number_is_the_value_to_half_a_digit(name: str, value: float) -> None:
    line = DIALECTS[name].line(Shown(value))
    found = re.search(rb"([+-]?) *(-?[0-9]+[.,][0-9]+)", line.removeprefix(b"P1,"))
    assert found
    number = float(found[2].replace(b",", b".")) * (-1 if found[1] == b"-" else 1)
    if name == "polled-line-pressure":
        number *= -1000.0
    half_digit = {"mass": 0.005, "pressure": 0.5}[DIALECTS[name].channel]
    assert number == pytest.approx(value, abs=half_digit + 1e-9)


@pytest.mark.parametrize(
    ("name", "unit", "line"),
    [
        ("polled-line-balance", "kg", b"S + 0.412356 kg\r\n"),
        ("polled-line-balance", "mg", b"S +   412356 mg\r\n"),
        ("streamed-line-balance", "kg", b"kg    0,41236 = 0000\r"),
        ("streamed-line-pressure", "hPa", b"dp=+4.124 hPa;ok\n"),
        ("streamed-line-pressure", "kPa", b"dp=+0.4124 kPa;ok\n"),
        ("streamed-line-pressure", "mbar", b"dp=+4.124 mbar;ok\n"),
        ("polled-line-pressure", "mbar", b"P1,-004.12,mbar\r\n"),
    ],
)
def test_another_unit_is_said_as_the_layout_describes(name: str, unit: str, line: bytes) -> None:
    assert DIALECTS[name].line(Shown(412.356), Manner(unit=unit)) == line


def test_fewer_decimals_leave_the_columns_where_they_were() -> None:
    line = DIALECTS["polled-line-balance"].line(Shown(412.356), Manner(fewer_decimals=1))
    assert line == b"S +   412.36 g\r\n"


def test_a_whole_request_is_counted_and_a_cut_one_waits() -> None:
    dialect = DIALECTS["polled-line-balance"]
    assert requests_in(b"W\r\nW\r", dialect) == (1, b"W\r")
    assert requests_in(b"W\r" + b"\nW\r\n", dialect) == (2, b"")
    assert requests_in(b"w\r\nW\nZ\r\n", dialect) == (0, b"")
    assert requests_in(b"W\r\n", DIALECTS["streamed-line-balance"]) == (0, b"")
    assert len(requests_in(b"x" * 10_000, dialect)[1]) == 64


def test_an_unknown_dialect_names_the_nearest() -> None:
    with pytest.raises(UnknownDialectError, match="did you mean polled-line-balance"):
        find_dialect("poled-line-balance", "mass")
    with pytest.raises(UnknownDialectError, match="no pressure dialect 'polled-line-balance'"):
        find_dialect("polled-line-balance", "pressure")
