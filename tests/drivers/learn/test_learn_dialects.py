"""Invented dialects: a profile is right on another day's lines, or there is none. Never a wrong one."""

from __future__ import annotations

from collections import Counter

import pytest

from drivers.learn.conclude import Known
from drivers.learn.heard import CannotTell
from drivers.units import Quantity
from tests.drivers.learn.invented import Dialect, mixed, named, untellable
from tests.drivers.learn.judging import learned, verdict
from tests.drivers.learn.person import found_settings, heard


@pytest.mark.parametrize("dialect", named(), ids=lambda dialect: dialect.name)
def test_a_dialect_is_told_and_read_right(dialect: Dialect) -> None:
    assert verdict(dialect, seed=1) == ("right", "")


def test_more_than_thirty_dialects_are_told() -> None:
    assert len(named()) >= 30
    assert len({dialect.name for dialect in [*named(), *untellable()]}) == len(named()) + len(untellable())


EXPECTED = {
    "no-end": "no character at their end",
    "raw-checksum": "probably a checksum",
    "pounds": "sends lb, which is never converted",
    "inches-of-water": "sends inH2O, which is never converted",
    "exponent": "exponent",
    "degree-sign": "beyond ASCII",
    "thousands": "mark between its thousands",
    "brackets-for-minus": "not understood",
    "minus-never-shown": "not understood",
    "always-the-same": "no number of the line moved",
    "no-number": "no line carries a number",
    "two-lines": "no number of the line moved",
    "comma-everywhere": "comma is a decimal mark",
    "flag-behind-a-comma": "comma is a decimal mark",
}


@pytest.mark.parametrize("dialect", untellable(), ids=lambda dialect: dialect.name)
def test_what_cannot_be_told_is_said(dialect: Dialect) -> None:
    with pytest.raises(CannotTell, match=EXPECTED[dialect.name]):
        learned(dialect, heard(dialect))


def counts(seeds: range, tares: bool = True) -> Counter[str]:
    found: Counter[str] = Counter()
    for seed in seeds:
        dialect = mixed(seed)
        word, why = verdict(dialect, seed, tares)
        found[word] += 1
        assert word != "WRONG", f"seed {seed}: {why}"
    print(dict(found))
    return found


def test_random_dialects_are_never_read_wrong() -> None:
    found = counts(range(10_000, 10_025))

    assert found["right"] >= 22


@pytest.mark.full
def test_many_random_dialects_are_never_read_wrong() -> None:
    found = counts(range(20_000, 20_100))

    assert found["right"] >= 0.95 * 100
    assert found["refuses lines"] <= 3


@pytest.mark.full
def test_a_person_who_does_not_tare_gets_no_wrong_profile_either() -> None:
    """Without a value below zero the sign may be unknown: lines are refused then, never read wrong."""
    found = counts(range(30_000, 30_040), tares=False)

    assert found["right"] + found["refuses lines"] >= 0.5 * 40


def test_a_known_weight_uncovers_a_wrong_unit() -> None:
    dialect = next(d for d in named() if d.name == "plain-crlf")

    learned(dialect, heard(dialect), Known(mass_g=187.3))
    with pytest.raises(CannotTell, match="rose by the 200 g"):
        learned(dialect, heard(dialect), Known(mass_g=200.0))


def test_a_transducer_is_no_balance() -> None:
    dialect = next(d for d in named() if d.name == "pascal")

    with pytest.raises(CannotTell, match="no unit of mass"):
        learned(dialect, heard(dialect), Known(quantity=Quantity.MASS))


@pytest.mark.parametrize(
    "dialect", [*named(), *map(mixed, range(500, 530))], ids=lambda dialect: dialect.name
)
def test_speed_and_framing_are_found_by_ear(dialect: Dialect) -> None:
    """Wrong speeds are simulated bit by bit: a pseudo terminal has no speed."""
    settings = found_settings(dialect)

    assert settings is not None
    assert settings.baud == dialect.wire.baud
    if dialect.wire.bits == 7:
        assert (settings.bytesize, settings.parity) == (7, dialect.wire.parity)
    else:
        assert settings.bytesize == 8
