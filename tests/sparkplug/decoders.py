"""Two decoders that nobody here wrote: `protobuf` (Google's library, descriptor built here) and npm's sparkplug-payload.

The field numbers of the descriptor are those of Eclipse Tahu's `sparkplug_b.proto`, from memory; sparkplug-payload has
its own copy, so the two check each other.
"""

from __future__ import annotations

import base64
import json
from functools import cache
from typing import Any

from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

from tests.node.packages import run_script

_F = descriptor_pb2.FieldDescriptorProto
_METRIC = (
    ("name", 1, _F.TYPE_STRING),
    ("alias", 2, _F.TYPE_UINT64),
    ("timestamp", 3, _F.TYPE_UINT64),
    ("datatype", 4, _F.TYPE_UINT32),
    ("is_historical", 5, _F.TYPE_BOOL),
    ("is_transient", 6, _F.TYPE_BOOL),
    ("is_null", 7, _F.TYPE_BOOL),
    ("int_value", 10, _F.TYPE_UINT32),
    ("long_value", 11, _F.TYPE_UINT64),
    ("float_value", 12, _F.TYPE_FLOAT),
    ("double_value", 13, _F.TYPE_DOUBLE),
    ("boolean_value", 14, _F.TYPE_BOOL),
    ("string_value", 15, _F.TYPE_STRING),
)
_PAYLOAD = (("timestamp", 1, _F.TYPE_UINT64), ("seq", 3, _F.TYPE_UINT64), ("uuid", 4, _F.TYPE_STRING))
_VALUE = (("type", 1, _F.TYPE_UINT32), ("is_null", 2, _F.TYPE_BOOL), ("string_value", 8, _F.TYPE_STRING))


@cache
def payload_class() -> Any:
    """The message class of a payload."""
    file = descriptor_pb2.FileDescriptorProto(name="sparkplug_test.proto", package="test", syntax="proto2")
    for name, fields in (("Value", _VALUE), ("Properties", ()), ("Metric", _METRIC), ("Payload", _PAYLOAD)):
        message = file.message_type.add(name=name)
        for field, number, kind in fields:
            message.field.add(name=field, number=number, type=kind, label=_F.LABEL_OPTIONAL)
    for name, field, number, kind, label in (
        ("Properties", "keys", 1, "", _F.LABEL_REPEATED),
        ("Properties", "values", 2, ".test.Value", _F.LABEL_REPEATED),
        ("Metric", "properties", 9, ".test.Properties", _F.LABEL_OPTIONAL),
        ("Payload", "metrics", 2, ".test.Metric", _F.LABEL_REPEATED),
    ):
        owner = next(message for message in file.message_type if message.name == name)
        added = owner.field.add(name=field, number=number, label=label)
        added.type = _F.TYPE_MESSAGE if kind else _F.TYPE_STRING
        if kind:
            added.type_name = kind
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return message_factory.GetMessageClass(pool.FindMessageTypeByName("test.Payload"))


def decoded(payload: bytes) -> Any:
    """By protobuf. Raises its DecodeError."""
    made = payload_class()()
    made.ParseFromString(payload)
    return made


def value_of(metric: Any) -> Any:
    """A metric's value by its datatype."""
    if metric.is_null:
        return None
    if metric.datatype == 4:
        return metric.long_value - (1 << 64 if metric.long_value >> 63 else 0)
    return {10: metric.double_value, 11: metric.boolean_value, 12: metric.string_value}[metric.datatype]


def values(payload: bytes) -> dict[Any, Any]:
    """Values by name, or by alias where there is no name."""
    return {metric.name or metric.alias: value_of(metric) for metric in decoded(payload).metrics}


def decoded_by_npm(payloads: list[bytes]) -> list[dict[str, Any]]:
    """By sparkplug-payload; 64-bit numbers are texts that end in n."""
    texts = [base64.b64encode(payload).decode() for payload in payloads]
    found: list[dict[str, Any]] = json.loads(run_script("sparkplug.cjs", json.dumps(texts)))
    return found


def command(*metrics: dict[str, Any]) -> bytes:
    """An NCMD made by protobuf."""
    made = payload_class()(timestamp=1)
    for metric in metrics:
        made.metrics.add(**metric)
    return bytes(made.SerializeToString())


REBIRTH_COMMAND = {"name": "Node Control/Rebirth", "timestamp": 1, "datatype": 11, "boolean_value": True}
