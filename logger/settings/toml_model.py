"""One TOML file to one dataclass: strict, every problem with its line and the nearest valid name."""

from __future__ import annotations

import dataclasses
import difflib
import json
import tomllib
import types
import typing
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from logger.core.text import first_hidden
from logger.settings.errors import ConfigError
from logger.settings.toml_lines import line_of

T = TypeVar("T")

_UNKNOWN = ("unexpected_keyword_argument", "extra_forbidden")


def read_text(path: Path) -> str:
    """The file as text. Raises ConfigError when it is absent, unreadable or not UTF-8."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise ConfigError(path, "there is no such file") from None
    except UnicodeDecodeError as error:
        raise ConfigError(path, f"is not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except OSError as error:
        raise ConfigError(path, f"cannot be read: {error.strerror}") from None


def load_toml(path: Path, model: type[T]) -> T:
    """Read `path` into `model`. Raises ConfigError with the line of the first problem."""
    return parse_toml(read_text(path), model, path)


def parse_toml(text: str, model: type[T], path: Path | str) -> T:
    """As load_toml, from a text already read; `path` is only for the messages."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError(path, *_syntax(error)) from None
    except (ValueError, RecursionError) as error:  # a number of thousands of digits, thousands of brackets
        raise ConfigError(path, _BEYOND) from error
    _refuse_hidden(data, text, path)
    try:
        # Through JSON: the strict JSON mode takes an array for a tuple, but no text for a number.
        plain = json.dumps(data, default=str)
    except ValueError as error:  # hexadecimal numbers have no limit when they are read
        raise ConfigError(path, _BEYOND) from error
    try:
        return TypeAdapter(model).validate_json(plain)
    except ValidationError as error:
        raise _explain(error, text, model, path) from None


_BEYOND = "holds a number too long, or tables nested too deep, to be meant; correct it"


def _refuse_hidden(
    data: dict[str, Any], text: str, path: Path | str, place: tuple[str | int, ...] = ()
) -> None:
    """Texts of the file stand on screens and in records: what cannot be seen has no place in them."""
    for name, value in data.items():
        where = (*place, name)
        if isinstance(value, dict):
            _refuse_hidden(value, text, path, where)
        for one in value if isinstance(value, list) else [value]:
            if isinstance(one, dict):
                _refuse_hidden(one, text, path, where)
            elif isinstance(one, str) and (hidden := first_hidden(one)):
                raise ConfigError(
                    path,
                    f"{'.'.join(map(str, where))} holds a character that cannot be printed ({hidden}); leave it out",
                    line_of(text, where),
                )


def _syntax(error: tomllib.TOMLDecodeError) -> tuple[str, int | None]:
    words = str(error)
    if "(at line " not in words:
        return f"is not valid TOML: {words}", None
    what, _, where = words.partition(" (at line ")
    line = int(where.split(",")[0])
    if what == "Cannot overwrite a value":
        return "the key on this line is given twice; keep one of them", line
    return f"is not valid TOML: {what}", line


def _explain(error: ValidationError, text: str, model: type[Any], path: Path | str) -> ConfigError:
    # An unknown key comes first: a misspelt one is reported as missing under its right name, too.
    first = min(error.errors(include_url=False), key=lambda found: found["type"] not in _UNKNOWN)
    place = [part for part in first["loc"] if isinstance(part, int) or not part.startswith("function-")]
    name = ".".join(str(part) for part in place)
    kind = first["type"]
    if kind in _UNKNOWN:
        sentence = f'unknown key "{place[-1]}"{_nearest(place, model)}'
    elif kind in ("missing", "missing_argument"):
        sentence = f'"{name}" is missing; add it'
    elif kind == "value_error":
        sentence = f"{name}: {first['ctx']['error']}" if name else str(first["ctx"]["error"])
        place += _key_meant(str(first["ctx"]["error"]), place, model)
    else:
        sentence = f"{name} = {first['input']!r}: {first['msg'][0].lower()}{first['msg'][1:]}"
    return ConfigError(path, sentence, line_of(text, place))


def _key_meant(sentence: str, place: list[int | str], model: type[Any]) -> list[int | str]:
    """The key that a sentence about a whole table begins with, so that its own line is told."""
    word = sentence.split(" ", 1)[0]
    return [word] if word in _field_names(model, place) else []


def _nearest(place: list[int | str], model: type[Any]) -> str:
    names = _field_names(model, place[:-1])
    tokens = sorted(str(place[-1]).split("_"))
    turned = [known for known in names if sorted(known.split("_")) == tokens]
    close = turned or difflib.get_close_matches(str(place[-1]), names, n=1, cutoff=0.5)
    if close:
        return f'; did you mean "{close[0]}"?'
    return f"; known here: {', '.join(sorted(names))}" if names else ""


def _field_names(model: type[Any], place: list[int | str]) -> list[str]:
    for part in place:
        if isinstance(part, int):
            continue
        hint = typing.get_type_hints(model).get(part)
        inner = _dataclass_in(hint)
        if inner is None:
            return []
        model = inner
    return [field.name for field in dataclasses.fields(model)]


def _dataclass_in(hint: Any) -> type[Any] | None:
    if dataclasses.is_dataclass(hint) and isinstance(hint, type):
        return hint
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is not None:
        return next((found for arg in typing.get_args(hint) if (found := _dataclass_in(arg))), None)
    return None
