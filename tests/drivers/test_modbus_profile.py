"""Register maps from files: what they say, and that everything doubtful is refused with its line."""

from __future__ import annotations

import pytest

from drivers.modbus_profile import ModbusProfile, Register, RegisterKind, RegisterType, Span, WordOrder
from drivers.modbus_profile_file import load_any_profile, parse_any_profile
from drivers.profile import LineProfile, SerialSettings, Suction
from drivers.toml_table import ProfileError
from drivers.units import Unit
from tests.drivers.dialects import PROFILE_FOLDER

GOOD = """\
title = "Transducer"
quantity = "pressure"
unit = "hPa"
suction = "negative"
mode = "modbus-rtu"
unit_id = 17
period_s = 0.2

[value]
register = "holding"
address = 100
type = "int32"
word_order = "low-first"
scale = 0.01
overload = [2147483647]

[status]
register = "input"
address = 7
fault_bits = [3, 4]
overload_bits = [0]
steady_bit = 1

[identity]
register = "holding"
address = 200
type = "uint16"
"""


def parse(text: str) -> ModbusProfile:
    profile = parse_any_profile(text.encode(), "mine.toml")
    assert isinstance(profile, ModbusProfile)
    return profile


def test_every_key_is_taken() -> None:
    profile = parse(GOOD)

    assert (profile.name, profile.title, profile.unit, profile.suction) == (
        "mine",
        "Transducer",
        Unit.HPA,
        Suction.NEGATIVE,
    )
    assert (profile.unit_id, profile.period_s, profile.scale, profile.overload) == (
        17,
        0.2,
        0.01,
        (2**31 - 1,),
    )
    assert profile.value == Register(
        kind=RegisterKind.HOLDING, address=100, type=RegisterType.INT32, word_order=WordOrder.LOW_FIRST
    )
    assert profile.status is not None
    assert (profile.status.fault, profile.status.overload, profile.status.steady) == ((3, 4), (0,), 1)
    assert profile.identity is not None
    assert profile.identity.type is RegisterType.UINT16
    assert profile.serial == SerialSettings()


def test_the_mode_tells_the_kinds_apart() -> None:
    kinds = {path.stem: type(load_any_profile(path)) for path in PROFILE_FOLDER.glob("*.toml")}

    assert kinds["modbus-pressure"] is kinds["modbus-pressure-scaled"] is ModbusProfile
    assert kinds["polled-line-pressure"] is LineProfile
    assert set(kinds.values()) == {ModbusProfile, LineProfile}


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('mode = "modbus-rtu"', 'mode = "modbus-rut"', 5, "'modbus-rtu'"),
        ("unit_id = 17", "unit_id = 248", 6, "from 1 to 247"),
        ("unit_id = 17", "unti_id = 17", 6, "'unit_id'"),
        ('unit = "hPa"', 'unit = "psi"', 3, "hPa"),
        ('unit = "hPa"', 'unit = "g"', 3, "choose one of"),
        ('quantity = "pressure"', 'quantity = "mass"', 2, "pressure"),
        ('register = "holding"\naddress = 100', 'register = "coil"\naddress = 100', 10, "holding"),
        ("address = 100", "address = 65535", 11, "65534"),
        ('type = "int32"', 'type = "float64"', 12, "'float32'"),
        ('word_order = "low-first"', 'word_order = "low"', 13, "'low-first'"),
        ('word_order = "low-first"\n', "", 9, "word_order is missing"),
        ("scale = 0.01", "scale = -0.01", 14, "above zero"),
        ("scale = 0.01", "scale = nan", 14, "write a number"),
        ("scale = 0.01", "factor = 0.01", 14, "choose one of"),
        ("overload = [2147483647]", "overload = [1.5]", 15, "whole numbers"),
        ("overload_bits = [0]", "overload_bits = [3]", 17, "two meanings"),
        ("steady_bit = 1", "steady_bit = 1\nwith_value = true", 23, "holding register"),
        ("steady_bit = 1", "steady_bit = 16", 22, "from 0 to 15"),
        ('type = "uint16"', 'type = "float32"', 27, "'"),
        ('type = "uint16"', 'type = "uint16"\nword_order = "high-first"', 28, "no word order"),
        ("[value]", "[values]", 9, "'value'"),
    ],
)
def test_a_mistake_is_refused_with_its_line(old: str, new: str, line: int, words: str) -> None:
    assert GOOD.count(old) == 1
    with pytest.raises(ProfileError) as refusal:
        parse(GOOD.replace(old, new))

    assert refusal.value.sentence().startswith(f"mine.toml, line {line}: ")
    assert words in refusal.value.sentence()


def test_a_missing_value_table_is_said() -> None:
    with pytest.raises(ProfileError, match=r"the table \[value\] is missing; add \[value\]"):
        parse(GOOD[: GOOD.index("[value]")])


def test_a_float_has_no_overload_mark() -> None:
    with pytest.raises(ProfileError, match="not-a-number is told"):
        parse(GOOD.replace('"int32"', '"float32"'))


@pytest.mark.parametrize("broken", ["title = ", "mode = 3\n", "\xff"])
def test_a_file_that_is_no_profile_of_either_kind_is_refused(broken: str) -> None:
    with pytest.raises(ProfileError):
        parse_any_profile(broken.encode("latin-1"), "mine.toml")


def test_one_request_reads_value_and_status_with_what_lies_between() -> None:
    together = GOOD.replace(
        'register = "input"\naddress = 7', 'register = "holding"\naddress = 7\nwith_value = true'
    )

    assert parse(together).spans == (Span(RegisterKind.HOLDING, 7, 95), None)
    assert parse(GOOD).spans == (Span(RegisterKind.HOLDING, 100, 2), Span(RegisterKind.INPUT, 7, 1))
    with pytest.raises(ProfileError, match="too far apart"):
        parse(together.replace("address = 7", "address = 300"))
