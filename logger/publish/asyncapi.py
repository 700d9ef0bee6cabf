"""The messages as an AsyncAPI 3 document: channels, operations and payloads for tools that read it.

AsyncAPI's own schema dialect is a superset of JSON Schema draft-07, so the schemas are put into its words:
shared definitions move to `components`, `dependentRequired` becomes `dependencies`.
"""

from __future__ import annotations

from typing import Any

from logger.publish.schemas import schema
from logger.publish.topics import KINDS, ROOT, Kind

VERSION = "3.0.0"
_QOS: dict[Kind, int] = {"status": 1, "live": 0, "event": 1, "record": 1, "latest": 1, "readings": 1}
_RETAINED: frozenset[Kind] = frozenset({"status", "latest"})
_NOT_OF_DRAFT_07 = ("$schema", "$id", "$defs")
_PLACE = "lower-case letters, digits and inner hyphens, at most 40 characters"


def asyncapi() -> dict[str, Any]:
    """The document, as JSON values. The bench sends; it receives nothing."""
    return {
        "asyncapi": VERSION,
        "info": {
            "title": "Lastgrain: messages of a bench",
            "version": "1.0.0",
            "description": "MQTT 5 only. At least once, one count `seq` a bench over event, record and readings.",
        },
        "defaultContentType": "application/json",
        "servers": {
            "plant": {"host": "broker.plant.example:8883", "protocol": "secure-mqtt", "protocolVersion": "5"}
        },
        "channels": {kind: _channel(kind) for kind in KINDS},
        "operations": {f"send_{kind}": _operation(kind) for kind in KINDS},
        "components": {
            "messages": {kind: _message(kind) for kind in KINDS},
            "schemas": {name: part for kind in KINDS for name, part in _shared(kind).items()},
        },
    }


def _channel(kind: Kind) -> dict[str, Any]:
    return {
        "address": f"{ROOT}/{{site}}/{{bench}}/{kind}",
        "parameters": {
            "site": {"description": f"The site, as in the bench file: {_PLACE}."},
            "bench": {"description": f"The bench, as in the bench file: {_PLACE}."},
        },
        "messages": {kind: {"$ref": f"#/components/messages/{kind}"}},
    }


def _operation(kind: Kind) -> dict[str, Any]:
    return {
        "action": "send",
        "channel": {"$ref": f"#/channels/{kind}"},
        "messages": [{"$ref": f"#/channels/{kind}/messages/{kind}"}],
        "bindings": {"mqtt": {"qos": _QOS[kind], "retain": kind in _RETAINED, "bindingVersion": "0.2.0"}},
    }


def _message(kind: Kind) -> dict[str, Any]:
    made = schema(kind)
    return {
        "name": f"lastgrain/{kind}/1",
        "summary": str(made.get("description", "")).splitlines()[0],
        "contentType": "application/json",
        "payload": _draft_07(kind, made),
        "examples": [{"payload": example} for example in made.get("examples", ())],
    }


def _shared(kind: Kind) -> dict[str, Any]:
    return {_name(kind, name): _draft_07(kind, part) for name, part in schema(kind).get("$defs", {}).items()}


def _name(kind: Kind, name: str) -> str:
    return f"{kind}_{name}"


def _draft_07(kind: Kind, node: Any) -> Any:
    if isinstance(node, list):
        return [_draft_07(kind, part) for part in node]
    if not isinstance(node, dict):
        return node
    put = {name: _draft_07(kind, part) for name, part in node.items() if name not in _NOT_OF_DRAFT_07}
    if "dependentRequired" in put:
        put["dependencies"] = put.pop("dependentRequired")
    if isinstance(put.get("$ref"), str):
        put["$ref"] = f"#/components/schemas/{_name(kind, put['$ref'].rsplit('/', 1)[1])}"
    return put
