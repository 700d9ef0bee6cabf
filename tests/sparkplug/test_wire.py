"""What is written is read by protobuf and by sparkplug-payload; what comes in is a request for births or nothing."""

from __future__ import annotations

import pytest
from google.protobuf.message import DecodeError
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.sparkplug.wire import DataType, Metric, NotACommand, Value, asks_for_rebirth, payload
from tests.sparkplug.decoders import (
    REBIRTH_COMMAND,
    command,
    decoded,
    decoded_by_npm,
    payload_class,
    value_of,
)

NOW_MS = 1_772_438_400_123
VALUES = st.one_of(
    st.tuples(st.just(DataType.INT64), st.none() | st.integers(-(2**63), 2**63 - 1)),
    st.tuples(st.just(DataType.DOUBLE), st.none() | st.floats(allow_nan=False)),
    st.tuples(st.just(DataType.BOOLEAN), st.none() | st.booleans()),
    st.tuples(st.just(DataType.STRING), st.none() | st.text(st.characters(exclude_categories=["Cs"]))),
)


def metrics_of(drawn: list[tuple[DataType, Value]]) -> list[Metric]:
    return [
        Metric(
            name=f"metric/{place}" if place % 2 else "",
            alias=place,
            timestamp_ms=NOW_MS,
            datatype=kind,
            value=value,
            historical=place % 3 == 0,
            unit="%/min" if place % 4 == 0 else "",
        )
        for place, (kind, value) in enumerate(drawn)
    ]


@settings(deadline=None, max_examples=80)
@given(drawn=st.lists(VALUES, max_size=8), seq=st.integers(0, 255))
def test_protobuf_reads_back_what_was_written(drawn: list[tuple[DataType, Value]], seq: int) -> None:
    written = payload(NOW_MS, metrics_of(drawn), seq)
    read = decoded(written)
    assert (read.timestamp, read.seq) == (NOW_MS, seq)
    assert [value_of(metric) for metric in read.metrics] == [value for _, value in drawn]
    for place, metric in enumerate(read.metrics):
        assert metric.alias == place
        assert metric.is_historical == (place % 3 == 0)
        assert list(metric.properties.keys) == (["engUnit"] if place % 4 == 0 else [])
        assert bool(metric.name) == bool(place % 2)
    assert bytes(read.SerializeToString()) == written, "the same bytes as protobuf's own"


def test_a_death_has_no_seq() -> None:
    assert not decoded(payload(NOW_MS, [], None)).HasField("seq")


@pytest.mark.real
@pytest.mark.full
def test_the_npm_package_reads_the_same() -> None:
    drawn: list[tuple[DataType, Value]] = [
        (DataType.INT64, -5),
        (DataType.DOUBLE, 0.1 + 0.2),
        (DataType.BOOLEAN, True),
        (DataType.STRING, "45 µm"),
        (DataType.DOUBLE, None),
        (DataType.INT64, 2**53 - 1),
    ]
    (read,) = decoded_by_npm([payload(NOW_MS, metrics_of(drawn), 255)])
    assert read["seq"] in (255, "255n")
    assert read["timestamp"] in (NOW_MS, f"{NOW_MS}n")
    found = [(metric["type"], metric["value"]) for metric in read["metrics"]]
    assert [kind for kind, _ in found] == ["Int64", "Double", "Boolean", "String", "Double", "Int64"]
    assert [value for _, value in found][1:5] == [0.1 + 0.2, True, "45 µm", None]
    assert str(found[5][1]).removesuffix("n") == str(2**53 - 1)
    assert int(str(found[0][1]).removesuffix("n")) % 2**64 == 2**64 - 5
    assert [metric.get("name") for metric in read["metrics"]][1::2] == ["metric/1", "metric/3", "metric/5"]


@pytest.mark.parametrize(
    ("made", "asked"),
    [
        (command(REBIRTH_COMMAND), True),
        (command({"name": "other", "datatype": 11, "boolean_value": True}, REBIRTH_COMMAND), True),
        (command(REBIRTH_COMMAND | {"boolean_value": False}), False),
        (command({"name": "Node Control/Reboot", "datatype": 11, "boolean_value": True}), False),
        (command({"alias": 2, "datatype": 11, "boolean_value": True}), False),
        (b"", False),
    ],
)
def test_only_the_request_for_births_is_one(made: bytes, asked: bool) -> None:
    assert asks_for_rebirth(made) is asked


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=80) | st.binary(max_size=20).map(lambda tail: command(REBIRTH_COMMAND) + tail))
def test_any_bytes_are_read_as_protobuf_would_or_refused(data: bytes) -> None:
    """Where both can read it, no request is seen that protobuf does not see."""
    try:
        asked = asks_for_rebirth(data)
    except NotACommand:
        return
    try:
        read = decoded(data)
    except DecodeError:
        return  # protobuf is stricter about texts and groups, and nothing but a birth could follow
    theirs = any(metric.name == "Node Control/Rebirth" and metric.boolean_value for metric in read.metrics)
    assert theirs or not asked


def test_a_huge_command_is_refused_unread() -> None:
    with pytest.raises(NotACommand, match="more than any command needs"):
        asks_for_rebirth(command(REBIRTH_COMMAND) * 5000)


def test_the_descriptor_is_whole() -> None:
    assert {field.name for field in payload_class().DESCRIPTOR.fields} == {
        "timestamp",
        "metrics",
        "seq",
        "uuid",
    }
