"""The snapshot as plain JSON data and back, so that service and console need not agree by hand.

Works for any tree of dataclasses made of text, numbers, truth values, None, tuples and literals: the
fields themselves are the schema. Unknown keys are passed over, so that an older console can watch a
newer service; a missing or wrong value is refused with the path to it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import MISSING, Field, fields, is_dataclass
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from logger.core.snapshot import Snapshot

Decode = Callable[[object, str], Any]


class SnapshotError(ValueError):
    """Data that is not a snapshot; the text says where and what."""


def snapshot_to_json(snapshot: Snapshot) -> dict[str, Any]:
    """The snapshot as dicts, lists, text and finite numbers, ready for `json.dumps`.

    A number that is not finite becomes None, which the reader accepts only where a value may be missing.
    """
    encoded: dict[str, Any] = to_json(snapshot)
    return encoded


def snapshot_from_json(data: object) -> Snapshot:
    """The snapshot that `snapshot_to_json` wrote. Raises SnapshotError."""
    snapshot: Snapshot = _decoder(Snapshot)(data, "snapshot")
    return snapshot


def to_json(value: Any) -> Any:
    """Any such tree as JSON data."""
    if is_dataclass(value) and not isinstance(value, type):
        return {name: to_json(getattr(value, name)) for name in _field_names(type(value))}
    if isinstance(value, tuple | list):
        return [to_json(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


@cache
def _field_names(kind: type) -> tuple[str, ...]:
    return tuple(each.name for each in fields(kind))


@cache
def _decoder(kind: Any) -> Decode:
    """The function that reads one value of this type; `path` names the place for messages."""
    if is_dataclass(kind):
        return _record_decoder(kind)
    origin = get_origin(kind)
    if origin is Literal:
        return _choice_decoder(get_args(kind))
    if origin in (Union, UnionType):
        return _optional_decoder(get_args(kind))
    if origin is tuple:
        return _tuple_decoder(get_args(kind))
    return _plain_decoder(kind)


def _record_decoder(kind: Any) -> Decode:
    hints = get_type_hints(kind)
    plan = [(each.name, hints[each.name], _required(each)) for each in fields(kind)]

    def decode(data: object, path: str) -> Any:
        if not isinstance(data, dict):
            raise SnapshotError(f"{path} must be an object, not {type(data).__name__}")
        values = {}
        for name, hint, required in plan:
            if name in data:
                values[name] = _decoder(hint)(data[name], f"{path}.{name}")
            elif required:
                raise SnapshotError(f"{path}.{name} is missing")
        return kind(**values)

    return decode


def _required(each: Field[Any]) -> bool:
    return each.default is MISSING and each.default_factory is MISSING


def _choice_decoder(choices: tuple[object, ...]) -> Decode:
    def decode(data: object, path: str) -> Any:
        if not isinstance(data, str) or data not in choices:
            raise SnapshotError(f"{path} must be one of {', '.join(map(str, choices))}, not {data!r}")
        return data

    return decode


def _optional_decoder(members: tuple[Any, ...]) -> Decode:
    others = [member for member in members if member is not NoneType]
    if len(others) != 1 or len(others) == len(members):
        raise TypeError(f"only X | None can be read from JSON, not {members}")

    def decode(data: object, path: str) -> Any:
        return None if data is None else _decoder(others[0])(data, path)

    return decode


def _tuple_decoder(members: tuple[Any, ...]) -> Decode:
    if len(members) != 2 or members[1] is not Ellipsis:
        raise TypeError(f"only tuple[X, ...] can be read from JSON, not {members}")
    item = members[0]

    def decode(data: object, path: str) -> Any:
        if not isinstance(data, list):
            raise SnapshotError(f"{path} must be a list, not {type(data).__name__}")
        return tuple(_decoder(item)(each, f"{path}[{index}]") for index, each in enumerate(data))

    return decode


def _plain_decoder(kind: Any) -> Decode:
    if kind not in (str, int, float, bool):
        raise TypeError(f"{kind} cannot be read from JSON")

    def decode(data: object, path: str) -> Any:
        if kind is float and type(data) in (int, float):
            return _finite(data, path)
        if type(data) is not kind:
            raise SnapshotError(f"{path} must be {kind.__name__}, not {type(data).__name__}")
        return data

    return decode


def _finite(data: Any, path: str) -> float:
    try:
        value = float(data)
    except OverflowError:
        value = math.inf
    if not math.isfinite(value):
        raise SnapshotError(f"{path} must be a finite number")
    return value
