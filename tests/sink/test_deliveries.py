"""Whatever lies on a topic is either a message or set aside with a reason."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.sink.deliveries import Delivery, Unfit, read_delivery
from tests.sink.plant import arrival, status

GOOD = [arrival(1), arrival(2), arrival(5), status()]
EVENT_TOPIC = GOOD[0].topic


def unfit(payload: bytes, topic: str = EVENT_TOPIC) -> Unfit:
    with pytest.raises(Unfit) as caught:
        read_delivery(topic, payload)
    return caught.value


def changed(place: int, **fields: Any) -> bytes:
    return json.dumps(json.loads(GOOD[place].payload) | fields).encode()


def test_good_messages_are_read() -> None:
    found = [read_delivery(good.topic, good.payload) for good in GOOD]
    assert [(one.kind, one.seq) for one in found] == [
        ("event", 1),
        ("readings", 2),
        ("record", 5),
        ("status", 0),
    ]
    assert found[2].flat["residue_pct"] == 12.9
    assert found[2].flat["raw_residue_pct"] == 12.3


@pytest.mark.parametrize(
    ("payload", "fault", "says"),
    [
        (b"\xff{}", "malformed", "UTF-8"),
        (b"{", "malformed", "not JSON"),
        (b"[" * 100_000, "malformed", "not JSON"),
        (b"[]", "malformed", "no JSON object"),
        (b'{"x": NaN}', "malformed", "NaN"),
        (b"{}", "malformed", "schema is not"),
        (changed(0, schema="lastgrain/event/2"), "unknown-version", "lastgrain/event/2; this sink knows"),
        (changed(0, schema="lastgrain/record/1"), "malformed", "schema is not"),
        (changed(0, schema=7), "malformed", "schema is not"),
        (changed(0, seq="1"), "malformed", "seq"),
        (changed(0, seq=0), "malformed", "seq"),
        (changed(0, seq=2**53), "malformed", "seq"),
        (changed(0, site="other"), "malformed", "says other/a1 on the topic of lab/a1"),
        (changed(0, utc="2026-13-45T00:00:00.000Z"), "malformed", "no date and time"),
        (changed(0, run_id="a\0b"), "not-storable", "run_id holds a character"),
        (changed(0, text="\ud800"), "malformed", "Invalid JSON"),
    ],
)
def test_what_cannot_be_kept_says_why(payload: bytes, fault: str, says: str) -> None:
    found = unfit(payload)
    assert found.fault == fault
    assert says in str(found)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"revision": 10**30}, "too large"),
        ({"sample": [1]}, "wrong shape"),
        ({"assessment": "none"}, "wrong shape"),
        ({"aperture_um": "45"}, "aperture_um"),
        ({"deviations": 3}, "wrong shape"),
    ],
)
def test_a_record_whose_columns_cannot_be_filled_is_set_aside(fields: dict[str, Any], says: str) -> None:
    found = unfit(changed(2, **fields), GOOD[2].topic)
    assert says in str(found)


@pytest.mark.parametrize(
    "topic", ["", "lastgrain/v1/lab/a1/latest", "lastgrain/v2/lab/a1/event", "lastgrain/v1/event", "x/y"]
)
def test_other_topics_are_none_of_a_bench(topic: str) -> None:
    assert "not one of a bench" in str(unfit(GOOD[0].payload, topic))


def test_fields_of_a_newer_bench_pass() -> None:
    assert read_delivery(EVENT_TOPIC, changed(0, newcomer={"x": [1]})).fields["newcomer"] == {"x": [1]}


def answer(topic: str, payload: bytes) -> Delivery | str:
    """The message or the reason; nothing else may come."""
    try:
        return read_delivery(topic, payload)
    except Unfit as found:
        return str(found)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=5,
)


@settings(deadline=None, max_examples=150)
@given(place=st.integers(0, 3), which=st.integers(0, 99), value=JSON)
def test_any_value_in_any_field_is_kept_or_set_aside(place: int, which: int, value: Any) -> None:
    names = sorted(json.loads(GOOD[place].payload))
    payload = changed(place, **{names[which % len(names)]: value})
    assert answer(GOOD[place].topic, payload)


@settings(deadline=None, max_examples=100)
@given(st.binary(max_size=200))
def test_any_bytes_are_set_aside(payload: bytes) -> None:
    assert str(unfit(payload))
