"""What the keys of configuration files mean, in one place for schemas and documentation."""

from __future__ import annotations

import dataclasses
import tomllib
import types
import typing
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from logger.core.method import Method
from logger.core.rig import Rig
from logger.settings.bench import Bench

FILES: dict[str, type[Any]] = {"method": Method, "bench": Bench, "rig": Rig}


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a file. `table` is empty at the top of the file; `default` is as TOML writes it.

    `required` means: wherever the table is given. `default` is empty for a key that may be left out and is
    then not asked for.
    """

    table: str
    name: str
    meaning: str
    allowed: str
    required: bool
    default: str


@cache
def _texts() -> dict[str, dict[str, dict[str, list[str]]]]:
    path = Path(__file__).parent / "keys.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def keys_of(kind: str) -> list[Key]:
    """Every key of a method, bench or rig file in the order of the file. Raises KeyError for one without text."""
    model = FILES[kind]
    own = [_key(kind, "", field) for field in dataclasses.fields(model) if _table(model, field) is None]
    tables = [
        _key(kind, field.name, inner)
        for field in dataclasses.fields(model)
        for inner in dataclasses.fields(_table(model, field) or _Nothing)
    ]
    return own + tables


@dataclass
class _Nothing:
    """The fields of a key that is no table."""


def _table(model: type[Any], field: dataclasses.Field[Any]) -> type[Any] | None:
    kind = typing.get_type_hints(model)[field.name]
    options = typing.get_args(kind) if isinstance(kind, types.UnionType) else (kind,)
    return next((each for each in options if isinstance(each, type) and dataclasses.is_dataclass(each)), None)


def _key(kind: str, table: str, field: dataclasses.Field[Any]) -> Key:
    meaning, allowed = _texts()[kind][table][field.name]
    required = field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    return Key(table, field.name, meaning, allowed, required, "" if required else _default(field))


def _default(field: dataclasses.Field[Any]) -> str:
    value = field.default
    if value is dataclasses.MISSING or value in (None, "", ()):
        return ""
    return str(value).lower() if isinstance(value, bool) else str(value)


def described(kind: str, schema: dict[str, Any]) -> dict[str, Any]:
    """The JSON Schema of a file with the meaning of each key as its `description`. Changes `schema`."""
    tables = {"": schema} | {
        name: schema["$defs"][ref] for name, ref in _references(schema).items() if ref in schema["$defs"]
    }
    for key in keys_of(kind):
        tables[key.table]["properties"][key.name]["description"] = f"{key.meaning} ({key.allowed})"
    return schema


def _references(schema: dict[str, Any]) -> dict[str, str]:
    """Table name to the name of its definition."""
    found: dict[str, str] = {}
    for name, entry in schema["properties"].items():
        options = [entry, *entry.get("anyOf", ()), *entry.get("allOf", ())]
        refs = [option["$ref"].rsplit("/", 1)[1] for option in options if "$ref" in option]
        found |= {name: refs[0]} if refs else {}
    return found
