"""Payloads of Sparkplug B as bytes: the part of Protocol Buffers that they need, written and read by hand.

Field numbers are those of `sparkplug_b.proto` (package org.eclipse.tahu.protobuf), from memory; two independent
decoders check them in the tests.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum

_VARINT, _FIXED64, _BYTES, _FIXED32 = 0, 1, 2, 5
_MASK_64 = (1 << 64) - 1
_LONGEST_COMMAND = 64 * 1024
REBIRTH = "Node Control/Rebirth"


class DataType(IntEnum):
    """Those in use here."""

    INT64 = 4
    DOUBLE = 10
    BOOLEAN = 11
    STRING = 12


Value = int | float | bool | str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Metric:
    """One value. In births with its name, in data by its alias alone. `unit` is a UCUM code."""

    name: str = ""
    alias: int | None = None
    timestamp_ms: int
    datatype: DataType
    value: Value
    historical: bool = False
    unit: str = ""


class NotACommand(Exception):  # noqa: N818 - it says what the bytes are
    """Bytes that are no readable payload."""


def payload(timestamp_ms: int, metrics: Sequence[Metric], seq: int | None) -> bytes:
    """A payload; `seq` is None only in a death."""
    parts = [_number(1, timestamp_ms), *(_bytes(2, _metric(metric)) for metric in metrics)]
    if seq is not None:
        parts.append(_number(3, seq))
    return b"".join(parts)


def _metric(metric: Metric) -> bytes:
    parts = []
    if metric.name:
        parts.append(_bytes(1, metric.name.encode()))
    if metric.alias is not None:
        parts.append(_number(2, metric.alias))
    parts += [_number(3, metric.timestamp_ms), _number(4, metric.datatype)]
    if metric.historical:
        parts.append(_number(5, 1))
    if metric.value is None:
        parts.append(_number(7, 1))
    if metric.unit:
        parts.append(_bytes(9, _unit(metric.unit)))
    if metric.value is not None:
        parts.append(_value(metric.datatype, metric.value))
    return b"".join(parts)


def _unit(code: str) -> bytes:
    """A property set with one entry, `engUnit`."""
    value = _number(1, DataType.STRING) + _bytes(8, code.encode())
    return _bytes(1, b"engUnit") + _bytes(2, value)


def _value(datatype: DataType, value: int | float | bool | str) -> bytes:
    if datatype is DataType.INT64:
        return _number(11, int(value) & _MASK_64)
    if datatype is DataType.DOUBLE:
        return _varint(13 << 3 | _FIXED64) + struct.pack("<d", value)
    if datatype is DataType.BOOLEAN:
        return _number(14, int(bool(value)))
    return _bytes(15, str(value).encode())


def _number(field: int, value: int) -> bytes:
    return _varint(field << 3 | _VARINT) + _varint(value)


def _bytes(field: int, value: bytes) -> bytes:
    return _varint(field << 3 | _BYTES) + _varint(len(value)) + value


def _varint(value: int) -> bytes:
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def asks_for_rebirth(command: bytes) -> bool:
    """Whether a command holds the metric `Node Control/Rebirth` with the value true. Raises NotACommand."""
    if len(command) > _LONGEST_COMMAND:
        raise NotACommand(f"{len(command)} bytes are more than any command needs")
    metrics = [dict(_fields(value)) for field, value in _fields(command) if field == 2 and _is_bytes(value)]
    return any(metric.get(1) == REBIRTH.encode() and metric.get(14) == 1 for metric in metrics)


def _is_bytes(value: int | bytes) -> bool:
    return isinstance(value, bytes)


def _fields(data: int | bytes) -> Iterator[tuple[int, int | bytes]]:
    """Number and content of each field of a message."""
    assert isinstance(data, bytes)
    place = 0
    while place < len(data):
        key, place = _read_varint(data, place)
        kind, field = key & 7, key >> 3
        if field == 0:
            raise NotACommand("a field with the number 0")
        if kind == _VARINT:
            value, place = _read_varint(data, place)
            yield field, value
            continue
        size = {_FIXED64: 8, _FIXED32: 4}.get(kind)
        if kind == _BYTES:
            size, place = _read_varint(data, place)
        if size is None or place + size > len(data):
            raise NotACommand("a field of an unknown kind" if size is None else "a field beyond the end")
        yield field, data[place : place + size]
        place += size


def _read_varint(data: bytes, place: int) -> tuple[int, int]:
    value = 0
    for shift in range(0, 70, 7):
        if place >= len(data):
            break
        byte = data[place]
        place += 1
        value |= (byte & 0x7F) << shift
        if byte < 0x80:
            return value, place
    raise NotACommand("a number without an end")
