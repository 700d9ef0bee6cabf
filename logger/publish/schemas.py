"""JSON Schemas (2020-12) of all messages, made from the models."""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter

from logger.core.record import Record
from logger.publish.payloads import DELIVERY_FIELDS, MESSAGES, SCHEMA_VERSION, schema_name
from logger.publish.topics import Kind

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


def schema(kind: Kind) -> dict[str, Any]:
    """The JSON Schema of one kind of message; numbers with a unit carry its UCUM code as `x-ucum`."""
    made = _record_schema() if kind == "record" else MESSAGES[kind].model_json_schema(by_alias=True)
    _add_units(made)
    return {"$schema": DIALECT, "$id": f"urn:lastgrain:{kind}:{SCHEMA_VERSION}", **made}


def _record_schema() -> dict[str, Any]:
    """One schema for the record on disk and on the wire: the delivery fields are all there or none."""
    record = TypeAdapter(Record).json_schema()
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
    return record | {
        "properties": properties | delivery,
        "required": [*record["required"], "record_sha256"],
        "dependentRequired": {
            name: [other for other in DELIVERY_FIELDS if other != name] for name in DELIVERY_FIELDS
        },
    }


def ucum_code(field_name: str) -> str | None:
    """The unit that a field name ends in, None when it names none."""
    for ending in sorted(_UCUM, key=len, reverse=True):
        if field_name.endswith(ending):
            return _UCUM[ending]
    return None


def _add_units(node: Any) -> None:
    if isinstance(node, list):
        for part in node:
            _add_units(part)
    elif isinstance(node, dict):
        properties = node.get("properties")
        if isinstance(properties, dict):
            for name, described in properties.items():
                code = ucum_code(name)
                if code is not None:
                    described["x-ucum"] = code
        for part in node.values():
            _add_units(part)
