"""Registers to readings: types, word orders, scales, signs; and that no registers can raise."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.modbus_codec import decode, number_in, refused_reading
from drivers.modbus_frames import RtuFrames
from drivers.modbus_profile import ModbusProfile, Register, RegisterKind, RegisterType, StatusBits, WordOrder
from drivers.modbus_profile_file import load_any_profile
from drivers.profile import Suction
from drivers.reading import Quality
from drivers.units import Unit
from simulators.modbus import crc16
from tests.drivers.dialects import PROFILE_FOLDER
from tests.drivers.modbus_slave import float_words

WORDS = st.integers(0, 0xFFFF)


def shipped(name: str) -> ModbusProfile:
    profile = load_any_profile(PROFILE_FOLDER / f"{name}.toml")
    assert isinstance(profile, ModbusProfile)
    return profile


FLOAT = shipped("modbus-pressure")
SCALED = shipped("modbus-pressure-scaled")
FRAMES = RtuFrames()


def register(kind: RegisterType, order: WordOrder = WordOrder.HIGH_FIRST) -> Register:
    return Register(kind=RegisterKind.INPUT, address=0, type=kind, word_order=order)


@pytest.mark.parametrize(
    ("kind", "words", "number"),
    [
        (RegisterType.INT16, [0x8000], -32768),
        (RegisterType.UINT16, [0x8000], 32768),
        (RegisterType.INT32, [0xFFFF, 0xFFFE], -2),
        (RegisterType.UINT32, [0xFFFF, 0xFFFE], 4294967294),
        (RegisterType.FLOAT32, [0x451D, 0x0800], 2512.5),  # IEEE 754 single, computed by hand
    ],
)
def test_a_number_is_read_in_either_word_order(kind: RegisterType, words: list[int], number: float) -> None:
    assert number_in(register(kind), words) == number
    assert number_in(register(kind, WordOrder.LOW_FIRST), words[::-1]) == number


def test_a_float_is_read_with_its_status() -> None:
    reading = decode(FLOAT, float_words(2512.5), 4, 7).reading

    assert (reading.at_ns, reading.value, reading.unit, reading.quality) == (7, 2512.5, "Pa", Quality.OK)
    assert (reading.stable, reading.resolution) == (True, None)
    assert reading.raw == "input 0: 451d 0800, input 5: 0004"
    assert decode(FLOAT, float_words(2512.5), 0, 7).reading.stable is False


def test_a_whole_number_is_scaled_exactly() -> None:
    reading = decode(SCALED, [2513], None, 7).reading

    assert (reading.value, reading.resolution, reading.stable) == (2513.0, 1.0, None)
    assert str(decode(SCALED, [0], None, 7).reading.value) == "0.0"


@pytest.mark.parametrize(
    ("unit", "scale", "raw", "pa"),
    [
        (Unit.PA, 0.1, 25123, 2512.3),
        (Unit.HPA, 0.01, 2512, 2512.0),
        (Unit.MBAR, 0.01, 2512, 2512.0),
        (Unit.KPA, 0.0001, 25123, 2512.3),
    ],
)
def test_units_and_scales(unit: Unit, scale: float, raw: int, pa: float) -> None:
    profile = replace(SCALED, unit=unit, scale=scale, minimum=None, maximum=None)

    assert decode(profile, [raw], None, 0).reading.value == pa


def test_the_sign_of_suction_is_made_positive() -> None:
    profile = replace(FLOAT, suction=Suction.NEGATIVE)

    assert decode(profile, float_words(-2512.5), 4, 0).reading.value == 2512.5
    assert str(decode(profile, float_words(0.0), 4, 0).reading.value) == "0.0"
    assert decode(profile, float_words(9000.0), 4, 0).reading.quality is Quality.REJECTED


@pytest.mark.parametrize(
    ("words", "status", "quality", "trouble"),
    [
        (float_words(math.nan), 1, Quality.OVERLOAD, ""),
        (float_words(math.nan), 2, Quality.UNDERLOAD, ""),
        (float_words(2500.0), 1, Quality.OVERLOAD, ""),
        (float_words(math.nan), 4, Quality.REJECTED, "it gives nan instead of a number"),
        (float_words(math.inf), 4, Quality.REJECTED, "it gives inf instead of a number"),
        (float_words(10_001.0), 4, Quality.REJECTED, "the number 10001 Pa is outside -500.0 to 10000.0 Pa"),
        (float_words(2500.0), 0x0504, Quality.REJECTED, "it reports a fault of its own (status bit 8, 10)"),
    ],
)
def test_what_is_no_measurement_is_told(
    words: list[int], status: int, quality: Quality, trouble: str
) -> None:
    decoded = decode(FLOAT, words, status, 0)

    assert (decoded.reading.quality, decoded.reading.value, decoded.trouble) == (quality, None, trouble)


def test_marks_of_a_whole_number() -> None:
    assert decode(SCALED, [32767], None, 0).reading.quality is Quality.OVERLOAD
    assert decode(SCALED, [0x8000], None, 0).reading.quality is Quality.UNDERLOAD


def test_an_exception_is_a_rejected_reading() -> None:
    reading = refused_reading(FLOAT, 2, 9)

    assert (reading.quality, reading.value, reading.raw, reading.at_ns) == (
        Quality.REJECTED,
        None,
        "exception 2",
        9,
    )


profiles = st.builds(
    lambda kind, order, scale, suction, unit, status: ModbusProfile(
        name="any",
        title="any",
        quantity=FLOAT.quantity,
        unit=unit,
        unit_id=1,
        period_s=0.1,
        value=register(kind, order),
        scale=scale,
        suction=suction,
        overload=(32767,),
        minimum=-1000.0,
        maximum=1e12,
        status=status,
    ),
    st.sampled_from(RegisterType),
    st.sampled_from(WordOrder),
    st.floats(1e-9, 1e9, allow_nan=False),
    st.sampled_from(Suction),
    st.sampled_from([Unit.PA, Unit.HPA, Unit.KPA, Unit.MBAR]),
    st.sampled_from(
        [None, StatusBits(register=register(RegisterType.UINT16), fault=(3,), overload=(0,), steady=2)]
    ),
)


@settings(deadline=None, max_examples=400)
@given(profile=profiles, words=st.lists(WORDS, min_size=2, max_size=2), status=WORDS)
def test_any_registers_give_a_reading_or_a_reason(
    profile: ModbusProfile, words: list[int], status: int
) -> None:
    flags = None if profile.status is None else status

    decoded = decode(profile, words[: profile.value.type.word_count], flags, 1)

    reading = decoded.reading
    assert (reading.value is not None) == (reading.quality is Quality.OK)
    assert (decoded.trouble != "") == (reading.quality is Quality.REJECTED)
    assert reading.value is None or math.isfinite(reading.value)


@settings(deadline=None, max_examples=400)
@given(heard=st.binary(max_size=60), function=st.sampled_from(RegisterKind))
def test_any_bytes_are_an_answer_or_none(heard: bytes, function: RegisterKind) -> None:
    request = FRAMES.read_registers(1, replace(FLOAT.value, kind=function).span)

    answer = FRAMES.answer(request, heard)

    assert answer is None or answer.exception is not None or len(answer.registers) == 2


@settings(deadline=None, max_examples=200)
@given(
    words=st.lists(WORDS, min_size=2, max_size=2), noise=st.binary(max_size=12), tail=st.binary(max_size=6)
)
def test_a_sound_answer_is_found_behind_noise_and_echo(words: list[int], noise: bytes, tail: bytes) -> None:
    request = FRAMES.read_registers(1, FLOAT.value.span)
    body = bytes([1, 4, 4]) + b"".join(word.to_bytes(2, "big") for word in words)
    frame = body + crc16(body)

    answer = FRAMES.answer(request, noise + request.frame + frame + tail)

    assert answer is not None
    assert answer.exception is None
    assert answer.registers == tuple(words)
    for end in range(len(frame)):
        assert FRAMES.answer(request, frame[:end]) is None


@settings(deadline=None, max_examples=200)
@given(words=st.lists(WORDS, min_size=2, max_size=2), at=st.integers(0, 8), flip=st.integers(1, 255))
def test_a_damaged_answer_is_no_answer(words: list[int], at: int, flip: int) -> None:
    body = bytes([1, 4, 4]) + b"".join(word.to_bytes(2, "big") for word in words)
    frame = bytearray(body + crc16(body))
    frame[at] ^= flip

    assert FRAMES.answer(FRAMES.read_registers(1, FLOAT.value.span), bytes(frame)) is None


def test_the_request_is_the_one_of_the_specification() -> None:
    """MODBUS application protocol 1.1b3, function 4, and the checksum of this common example (from memory)."""
    body = bytes([1, 4, 0, 0, 0, 2])

    assert FRAMES.read_registers(1, FLOAT.value.span).frame == body + crc16(body)
    assert FRAMES.read_registers(1, FLOAT.value.span).frame.hex() == "010400000002" + "71cb"


def test_the_coil_of_the_permit() -> None:
    body = bytes([2, 5, 0, 0, 0xFF, 0])
    request = FRAMES.write_coil(2, 0, True)

    assert request.frame == body + crc16(body)
    answer = FRAMES.answer(request, request.frame)
    assert answer is not None
    assert answer.bits == (True,)
