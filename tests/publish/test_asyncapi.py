"""The AsyncAPI document and the units, judged by libraries from npm that nobody here wrote.

Outside checks: @asyncapi/parser (the AsyncAPI initiative's own) and @lhncbc/ucum-lhc (the UCUM library of the
United States National Library of Medicine); both read, run here.
"""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest

from logger.app.schemas import schema_of
from logger.publish.asyncapi import asyncapi
from logger.publish.schemas import _UCUM, schema
from logger.publish.topics import KINDS
from tests.node.packages import run_script

ERROR = 0


def test_every_kind_has_its_channel_and_every_reference_leads_somewhere() -> None:
    document = asyncapi()
    assert list(document["channels"]) == list(KINDS)
    for reference in references(document):
        found: Any = document
        for part in reference.removeprefix("#/").split("/"):
            found = found[part]
        assert isinstance(found, dict)


def test_its_payloads_judge_as_the_schemas_do() -> None:
    """draft-07 by jsonschema, on the examples and on a broken one."""
    document = asyncapi()
    for kind in KINDS:
        payload = document["components"]["messages"][kind]["payload"] | {"components": document["components"]}
        validator = jsonschema.Draft7Validator(payload)
        for example in schema(kind)["examples"]:
            validator.validate(example)
            assert not validator.is_valid(example | {"schema": "lastgrain/other/1"})


def test_the_command_prints_it() -> None:
    assert schema_of("asyncapi") == asyncapi()


@pytest.mark.real
@pytest.mark.full
def test_the_initiatives_parser_takes_it() -> None:
    answer = json.loads(run_script("asyncapi.cjs", json.dumps(asyncapi())))
    assert [found for found in answer["found"] if found["severity"] == ERROR] == []
    assert answer["channels"] == [f"lastgrain/v1/{{site}}/{{bench}}/{kind}" for kind in KINDS]
    broken = asyncapi() | {"operations": {"send": {"action": "shout"}}}
    answer = json.loads(run_script("asyncapi.cjs", json.dumps(broken)))
    assert [found for found in answer["found"] if found["severity"] == ERROR]


@pytest.mark.real
@pytest.mark.full
def test_every_unit_is_a_ucum_code() -> None:
    codes = sorted({*_UCUM.values(), *(code for kind in KINDS for code in units(schema(kind)))})
    answers = json.loads(run_script("ucum.cjs", json.dumps([*codes, "rpm", "pct"])))
    assert {code: answers[code]["code"] for code in codes} == {code: code for code in codes}
    assert {answers[code]["status"] for code in codes} == {"valid"}
    assert answers["um"]["name"].lower() == "micrometer"
    assert answers["rpm"]["status"] != "valid"
    assert answers["pct"]["status"] != "valid"


def references(node: Any) -> list[str]:
    if isinstance(node, list):
        return [found for part in node for found in references(part)]
    if not isinstance(node, dict):
        return []
    own = [node["$ref"]] if isinstance(node.get("$ref"), str) else []
    return own + [found for part in node.values() for found in references(part)]


def units(node: Any) -> set[str]:
    if isinstance(node, list):
        return {found for part in node for found in units(part)}
    if not isinstance(node, dict):
        return set()
    own = {node["x-ucum"]} if isinstance(node.get("x-ucum"), str) else set()
    return own | {found for part in node.values() for found in units(part)}
