"""JSON Schemas (2020-12) of all messages, made from the models."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import TypeAdapter

from logger.core.record import Record
from logger.publish.payloads import DELIVERY_FIELDS, MESSAGES, SCHEMA_VERSION, schema_name
from logger.publish.topics import Kind
from logger.publish.versions import version_examples, version_schema, versions

DIALECT = "https://json-schema.org/draft/2020-12/schema"

_UCUM = {
    "_pct_per_min": "%/min",
    "_g_per_kpa": "g/kPa",
    "_g_per_kpa2": "g/kPa2",
    "_rpm": "{rev}/min",
    "_pct": "%",
    "_pa": "Pa",
    "_um": "um",
    "_mm": "mm",
    "_hz": "Hz",
    "_s": "s",
    "_g": "g",
}
"""Field-name endings and their codes in the Unified Code for Units of Measure, longest ending first."""
_OPEN_WORDS = frozenset({"review", "what", "standing"})
"""Words in a record to which a newer bench may add others: named as examples, not as the only ones."""


def schema(kind: Kind) -> dict[str, Any]:
    """The JSON Schema of one kind of message; numbers with a unit carry its UCUM code as `x-ucum`."""
    made = current_schema(kind)
    known = versions()
    examples = version_examples(known[-1], kind) if known else []
    return made | ({"examples": examples} if examples else {})


def current_schema(kind: Kind) -> dict[str, Any]:
    """The schema as the code has it today, without examples."""
    made = _record_schema() if kind == "record" else MESSAGES[kind].model_json_schema(by_alias=True)
    _add_units(made)
    return {"$schema": DIALECT, "$id": f"urn:lastgrain:{kind}:{SCHEMA_VERSION}", **made}


def _record_schema() -> dict[str, Any]:
    """One schema for the record on disk and on the wire: the delivery fields are all there or none."""
    record = TypeAdapter(Record).json_schema()
    _open_words(record)
    message = MESSAGES["record"].model_json_schema(by_alias=True)
    delivery = {name: message["properties"][name] for name in DELIVERY_FIELDS}
    properties = record["properties"] | {
        "schema": {"const": schema_name("record")},
        "record_sha256": {
            "type": "string",
            "pattern": "^[0-9a-f]{64}$",
            "description": "SHA-256 of all other fields of the record, delivery fields left out",
        },
    }
    made = record | {
        "properties": properties | delivery,
        "required": [*record["required"], "record_sha256"],
        "dependentRequired": {
            name: [other for other in DELIVERY_FIELDS if other != name] for name in DELIVERY_FIELDS
        },
    }
    for version in reversed(versions()):
        _require_no_more_than(made, version_schema(version, "record"))
    return made


def _require_no_more_than(made: dict[str, Any], earlier: dict[str, Any]) -> None:
    """A record of an earlier version stays valid: what came later is there, but not required."""
    parts, earlier_parts = made.get("$defs", {}), earlier.get("$defs", {})
    pairs = [
        (made, earlier),
        *((parts[name], earlier_parts[name]) for name in parts if name in earlier_parts),
    ]
    for new, old in pairs:
        if "required" in new:
            new["required"] = [name for name in new["required"] if name in old.get("required", ())]


def ucum_code(field_name: str) -> str | None:
    """The unit that a field name ends in, None when it names none."""
    for ending in sorted(_UCUM, key=len, reverse=True):
        if field_name.endswith(ending):
            return _UCUM[ending]
    return None


def _add_units(node: Any) -> None:
    for name, described in _properties(node):
        code = ucum_code(name)
        if code is not None:
            described["x-ucum"] = code


def _open_words(node: Any) -> None:
    for name, described in _properties(node):
        if name in _OPEN_WORDS and "enum" in described:
            words = described.pop("enum")
            described["examples"] = words
            described["description"] = f"{', '.join(words)}; a newer bench may use other words"


def _properties(node: Any) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every described field of a schema, at any depth."""
    if isinstance(node, list):
        for part in node:
            yield from _properties(part)
    elif isinstance(node, dict):
        properties = node.get("properties")
        if isinstance(properties, dict):
            yield from properties.items()
        for part in node.values():
            yield from _properties(part)
