"""Every version of the messages that was handed out stays good, in both directions.

jsonschema (an independent validator) judges today's messages by the schemas of every version, and the kept
examples of every version by today's schemas.
"""

from __future__ import annotations

import copy
import json
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.record import listed_residue_pct
from logger.publish.payloads import DELIVERY_FIELDS, MESSAGES, latest_message, numbered_message
from logger.publish.schemas import current_schema, schema
from logger.publish.topics import KINDS, Kind, Topics
from logger.publish.versions import version_examples, version_schema, versions
from tests.publish.freeze import PAGE, page, todays_examples
from tests.publish.samples import SENT, item
from tests.publish.schema_changes import breaking, changes

PAIRS = [(version, kind) for version in versions() for kind in KINDS]
ENVELOPE = (*DELIVERY_FIELDS, "published_at", "site", "bench")


def judge(described: dict[str, Any], document: dict[str, Any]) -> None:
    jsonschema.Draft202012Validator(described).validate(document)


def test_there_is_a_version_with_a_schema_and_an_example_of_each_kind() -> None:
    assert versions()[0] == "1.0"
    assert all(version_examples(version, kind) for version, kind in PAIRS)


@pytest.mark.parametrize(("version", "kind"), PAIRS)
def test_the_code_only_adds_to_what_was_handed_out(version: str, kind: Kind) -> None:
    assert breaking(version_schema(version, kind), current_schema(kind)) == []


@pytest.mark.full  # a whole run in virtual time; in the short check the rule above and the examples stand
def test_todays_messages_fit_every_earlier_schema_and_todays() -> None:
    for kind, documents in todays_examples().items():
        for version in versions():
            for document in documents:
                judge(version_schema(version, kind), document)
                judge(schema(kind), document)


@pytest.mark.parametrize(("version", "kind"), PAIRS)
def test_kept_messages_fit_their_own_schema_and_todays(version: str, kind: Kind) -> None:
    for document in version_examples(version, kind):
        judge(version_schema(version, kind), document)
        judge(schema(kind), document)


@pytest.mark.parametrize(("version", "kind"), PAIRS)
def test_todays_code_reads_kept_messages(version: str, kind: Kind) -> None:
    for document in version_examples(version, kind):
        MESSAGES[kind].model_validate_json(json.dumps(document))


@pytest.mark.parametrize("version", versions())
def test_what_an_earlier_version_left_in_the_outbox_still_goes_out(version: str) -> None:
    for kind in ("event", "readings", "record"):
        for document in version_examples(version, kind):
            topics = Topics(document["site"], document["bench"])
            body = {name: value for name, value in document.items() if name not in ENVELOPE}
            sent = json.loads(numbered_message(topics, item(kind, body), SENT))
            judge(schema(kind), sent)
            if kind == "record":
                judge(schema("latest"), json.loads(latest_message(topics, item(kind, body), SENT)))
                assert (listed_residue_pct(document) is None) == (document["result"] is None)


def test_the_page_of_changes_is_what_the_versions_say() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_examples_are_shipped_in_the_schema() -> None:
    for kind in KINDS:
        assert schema(kind)["examples"]


def test_an_added_field_that_nobody_must_send_is_no_break() -> None:
    old = current_schema("record")
    new = copy.deepcopy(old)
    new["properties"]["newcomer"] = {"type": "array", "items": {"type": "object"}}
    assert breaking(old, new) == []
    assert [change.where for change in changes(old, new)] == ["newcomer"]


def places(node: Any) -> list[dict[str, Any]]:
    """Every object description of a schema that has fields."""
    if isinstance(node, list):
        return [found for part in node for found in places(part)]
    if not isinstance(node, dict):
        return []
    own = [node] if isinstance(node.get("properties"), dict) else []
    return own + [found for part in node.values() for found in places(part)]


def retyped(described: dict[str, Any]) -> dict[str, Any]:
    """The same field, as something else."""
    if "$ref" in described or "anyOf" in described or "const" in described:
        return {"type": "boolean"}
    return described | {"type": "boolean" if described.get("type") != "boolean" else "string"}


@settings(deadline=None, max_examples=60)
@given(
    kind=st.sampled_from(KINDS),
    where=st.integers(0, 99),
    which=st.integers(0, 99),
    how=st.sampled_from(("remove", "retype", "unit", "required", "let go", "allow null")),
)
def test_every_breaking_change_is_caught(kind: Kind, where: int, which: int, how: str) -> None:
    old = current_schema(kind)
    new = copy.deepcopy(old)
    objects = places(new)
    chosen = objects[where % len(objects)]
    fields = chosen["properties"]
    name = sorted(fields)[which % len(fields)]
    if how == "remove":
        del fields[name]
    elif how == "retype":
        fields[name] = retyped(fields[name])
    elif how == "unit":
        fields[name] = fields[name] | {"x-ucum": "kg"}
    elif how == "required":
        fields["newcomer"] = {"type": "string"}
        chosen["required"] = [*chosen.get("required", ()), "newcomer"]
    elif how == "let go":
        if name not in chosen.get("required", ()):
            return
        chosen["required"].remove(name)
    else:
        fields[name] = {"anyOf": [fields[name], {"type": "array"}]}
    assert breaking(old, new)
