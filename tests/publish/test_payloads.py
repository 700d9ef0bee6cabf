"""Messages on the wire against the schemas that are handed out.

Outside check: the `jsonschema` library (Draft 2020-12) judges every message; computed with jsonschema.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import jsonschema
import pytest

from logger.core.ports import OutboxItem
from logger.core.record import RECORD_SCHEMA
from logger.publish.errors import PayloadError
from logger.publish.payloads import (
    DELIVERY_FIELDS,
    is_historical,
    latest_message,
    numbered_message,
    plain_message,
    schema_name,
)
from logger.publish.schemas import schema, ucum_code
from logger.publish.topics import KINDS, Kind, Topics
from tests.publish.samples import EVENT, LIVE, MADE, READINGS, SENT, STATUS, item, record

LAB = Topics("lab", "a1")


def messages() -> dict[Kind, bytes]:
    body = record().body()
    return {
        "status": plain_message(LAB, "status", STATUS, SENT),
        "live": plain_message(LAB, "live", LIVE, SENT),
        "event": numbered_message(LAB, item("event", EVENT), SENT),
        "readings": numbered_message(LAB, item("readings", READINGS), SENT),
        "record": numbered_message(LAB, item("record", body), SENT),
        "latest": latest_message(LAB, item("record", body), SENT),
    }


@pytest.mark.parametrize("kind", KINDS)
def test_every_message_is_valid_by_its_own_schema(kind: Kind) -> None:
    described = schema(kind)
    jsonschema.Draft202012Validator.check_schema(described)
    message = json.loads(messages()[kind])
    jsonschema.Draft202012Validator(described).validate(message)
    assert message["schema"] == schema_name(kind)
    assert (message["site"], message["bench"], message["published_at"]) == ("lab", "a1", SENT)


@pytest.mark.parametrize("kind", KINDS)
def test_a_schema_refuses_a_message_that_lacks_what_it_requires(kind: Kind) -> None:
    described = schema(kind)
    validator = jsonschema.Draft202012Validator(described)
    message = json.loads(messages()[kind])
    for name in described["required"]:
        without = {key: value for key, value in message.items() if key != name}
        assert not validator.is_valid(without), f"{kind} without {name} passed"


def test_the_record_schema_takes_the_record_on_disk_and_on_the_wire_but_no_half_delivery() -> None:
    validator = jsonschema.Draft202012Validator(schema("record"))
    on_disk = json.loads(json.dumps(record().body()))
    validator.validate(on_disk)
    assert not validator.is_valid(on_disk | {"seq": 5})
    assert not validator.is_valid(on_disk | {"outcome": "perhaps"})
    assert schema_name("record") == RECORD_SCHEMA


def test_a_record_on_the_wire_is_the_record_and_its_delivery_nothing_else() -> None:
    body = json.loads(json.dumps(record().body()))
    message = json.loads(messages()["record"])
    assert {key: value for key, value in message.items() if key not in DELIVERY_FIELDS} == body


def test_latest_is_flat_and_says_what_the_record_says() -> None:
    latest = json.loads(messages()["latest"])
    assert (latest["residue_pct"], latest["residue_max_pct"], latest["residue_min_pct"]) == (12.9, 15.0, None)
    assert (latest["raw_residue_pct"], latest["expanded_u_pct"], latest["decision"]) == (
        12.3,
        0.098,
        "accept",
    )
    assert (latest["lot"], latest["sample_id"], latest["method_id"]) == ("lot-1", "s-1", "cement-45")
    assert (latest["review"], latest["outcome"], latest["deviations"]) == ("unreviewed", "endpoint", 1)
    assert latest["seq"] == 7


def test_latest_of_a_record_without_assessment_reports_what_was_weighed() -> None:
    """Records of the first version know none."""
    body = replace(record(), assessment=None).body()
    latest = json.loads(latest_message(LAB, item("record", body), SENT))
    assert (latest["residue_pct"], latest["passing_pct"], latest["decision"]) == (12.3, 87.7, None)


def test_latest_of_a_run_without_a_result_has_no_figures() -> None:
    body = replace(record(), outcome="aborted", result=None, assessment=None, endpoint=None).body()
    latest = json.loads(latest_message(LAB, item("record", body), SENT))
    assert (latest["outcome"], latest["residue_pct"], latest["passing_pct"]) == ("aborted", None, None)


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("mass_g", "g"),
        ("dp_pa", "Pa"),
        ("limit_pct_per_min", "%/min"),
        ("residue_u_weighing_pct", "%"),
        ("aperture_um", "um"),
        ("coupling_g_per_kpa", "g/kPa"),
        ("nozzle_rpm", "{rev}/min"),
        ("text", None),
    ],
)
def test_field_names_carry_their_unit(name: str, code: str | None) -> None:
    """Codes from the Unified Code for Units of Measure, from memory."""
    assert ucum_code(name) == code


def test_schemas_carry_units_beside_the_numbers() -> None:
    assert schema("live")["properties"]["dp_pa"]["x-ucum"] == "Pa"
    assert schema("record")["$defs"]["RecordResult"]["properties"]["residue_pct"]["x-ucum"] == "%"


@pytest.mark.parametrize(
    ("faulty", "says"),
    [
        (item("event", EVENT | {"utc": "yesterday"}), "utc"),
        (item("event", EVENT | {"data": {"x": float("nan")}}), "JSON"),
        (item("event", EVENT | {"data": {"x": "\ud800"}}), "JSON"),
        (item("event", EVENT | {"data": {"x": object()}}), "JSON"),
        (item("event", EVENT | {"seq": 8}), "seq in two different ways"),
        (item("event", EVENT, seq=0), "seq"),
        (item("event", EVENT, seq=2**53), "seq"),
        (item("record", {"outcome": "endpoint"}), "run_id"),
        (item("readings", READINGS | {"t_s": [0.0]}), "length"),
        (item("readings", READINGS | {"mass_g": ["1", "2", "3"]}), "mass_g"),
    ],
)
def test_what_cannot_be_sent_is_refused_with_a_sentence(faulty: OutboxItem, says: str) -> None:
    with pytest.raises(PayloadError, match=says):
        numbered_message(LAB, faulty, SENT)


def test_a_live_picture_with_a_wrong_type_is_refused() -> None:
    wrong: dict[str, Any] = LIVE | {"mass_g": "12"}
    with pytest.raises(PayloadError, match="mass_g"):
        plain_message(LAB, "live", wrong, SENT)


def test_fields_of_a_newer_version_pass() -> None:
    message = json.loads(numbered_message(LAB, item("event", EVENT | {"new_field": 1}), SENT))
    assert message["new_field"] == 1


def test_text_arrives_byte_for_byte() -> None:
    hostile = "=1+1\t<script>\u202e[/] µm \x1b[31m \U0001f9c2"
    sent = numbered_message(LAB, item("event", EVENT | {"text": hostile}), SENT)
    assert json.loads(sent)["text"] == hostile
    assert hostile.split("\t")[1].split("\x1b")[0].encode() in sent


@pytest.mark.parametrize(
    ("created", "expected"),
    [(MADE, False), ("2026-03-02T07:59:51.000Z", False), ("2026-03-02T07:59:50.999Z", True), ("?", True)],
)
def test_historical_after_ten_seconds(created: str, expected: bool) -> None:
    assert is_historical(created, SENT) is expected
