"""Strict reading of a TOML file: a refusal names file, line and, for a typing slip, the nearest key."""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Iterable, Sequence
from typing import Any, Final

Where = tuple[str | int, ...]

_HEADER: Final = re.compile(r"\s*(\[\[?)\s*([A-Za-z0-9_.\-\" ]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY: Final = re.compile(r"\s*[\"']?([^\"'=\s#\[\]{}]+)[\"']?\s*=")


class ProfileError(Exception):
    """An instrument profile that cannot be used, with the place and what to do."""

    def __init__(self, file: str, line: int | None, problem: str, advice: str) -> None:
        super().__init__(file, line, problem, advice)
        self.file = file
        self.line = line
        self.problem = problem
        self.advice = advice

    def sentence(self) -> str:
        """Where, what and what to do, for a person."""
        place = self.file if self.line is None else f"{self.file}, line {self.line}"
        return f"{place}: {self.problem}; {self.advice}."

    def __str__(self) -> str:
        return self.sentence()


class TomlTable:
    """One table of the file. Each accessor checks the type; unknown keys are refused when it is made."""

    def __init__(self, source: TomlSource, data: dict[str, Any], where: Where, keys: Sequence[str]) -> None:
        self._source = source
        self._data = data
        self._where = where
        self.only(keys)

    def only(self, keys: Sequence[str]) -> None:
        """Raises ProfileError for the first key that is not among `keys`."""
        for key in self._data:
            if key not in keys:
                raise self.error(key, f"{_shown(key)} is not a key {self._place()}", _nearest(key, keys))

    def __contains__(self, key: str) -> bool:
        return key in self._data

    def error(self, key: str | None, problem: str, advice: str) -> ProfileError:
        """A refusal that points at `key` of this table, or at the table."""
        where = self._where if key is None else (*self._where, key)
        return ProfileError(self._source.name, self._source.line_of(where), problem, advice)

    def text(self, key: str, default: str | None = None) -> str:
        """A text of ASCII characters."""
        value = self._get(key, default)
        if not isinstance(value, str) or not value.isascii():
            raise self.error(
                key, f"{key} is {_shown(value)}", "write a text of plain ASCII characters in quotes"
            )
        return value

    def title(self, key: str) -> str:
        """A text for people: ASCII that can be printed."""
        value = self.text(key)
        if not value.isprintable():
            raise self.error(key, f"{key} is {_shown(value)}", "leave out what cannot be printed")
        return value

    def texts(self, key: str, default: Sequence[str] | None = None) -> tuple[str, ...]:
        """A list of ASCII texts, without repeats."""
        value = self._get(key, default)
        if not isinstance(value, list | tuple) or not all(isinstance(x, str) and x.isascii() for x in value):
            raise self.error(
                key, f"{key} is {_shown(value)}", 'write a list of ASCII texts, for example ["S"]'
            )
        if len(set(value)) != len(value):
            raise self.error(key, f"{key} names a text twice", "leave one of them out")
        return tuple(value)

    def choice(self, key: str, choices: Sequence[str], default: str | None = None) -> str:
        """One of `choices`."""
        value = self._get(key, default)
        if not isinstance(value, str) or value not in choices:
            raise self.error(key, f"{key} is {_shown(value)}", _nearest(str(value), choices))
        return value

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A finite number from `low` to `high`."""
        value = self._get(key, default)
        good = isinstance(value, int | float) and not isinstance(value, bool)
        if not good or not math.isfinite(value) or not low <= value <= high:
            raise self.error(key, f"{key} is {_shown(value)}", f"write a number from {low:g} to {high:g}")
        return float(value)

    def whole(self, key: str, low: int, high: int, default: int | None = None) -> int:
        """A whole number from `low` to `high`."""
        value = self._get(key, default)
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            raise self.error(key, f"{key} is {_shown(value)}", f"write a whole number from {low} to {high}")
        return value

    def wholes(self, key: str, low: int, high: int) -> tuple[int, ...]:
        """A list of whole numbers from `low` to `high`, without repeats; empty when it is left out."""
        value = self._data.get(key, [])
        good = isinstance(value, list) and all(type(x) is int and low <= x <= high for x in value)
        if not good or len(set(value)) < len(value):
            advice = f"write a list of different whole numbers from {low} to {high}"
            raise self.error(key, f"{key} is {_shown(value)}", advice)
        return tuple(value)

    def flag(self, key: str, default: bool) -> bool:
        """True or false."""
        value = self._get(key, default)
        if not isinstance(value, bool):
            raise self.error(key, f"{key} is {_shown(value)}", "write true or false")
        return value

    def mapping(self, key: str) -> dict[str, Any]:
        """A table of the user's own keys, unchecked."""
        value = self._get(key, None)
        if not isinstance(value, dict):
            raise self.error(key, f"{key} is {_shown(value)}", 'write a table, for example { g = "g" }')
        return value

    def table(self, key: str, keys: Sequence[str]) -> TomlTable:
        """A table of its own; empty when it is left out."""
        value = self._data.get(key, {})
        if not isinstance(value, dict):
            raise self.error(key, f"{key} is {_shown(value)}", f"write it as a table headed [{key}]")
        return TomlTable(self._source, value, (*self._where, key), keys)

    def tables(self, key: str, keys: Sequence[str]) -> list[TomlTable]:
        """A list of tables, each headed [[key]]; at least one."""
        value = self._get(key, None)
        if not isinstance(value, list) or not value or not all(isinstance(item, dict) for item in value):
            raise self.error(key, f"{key} is {_shown(value)}", f"write tables headed [[{key}]]")
        return [TomlTable(self._source, item, (*self._where, key, i), keys) for i, item in enumerate(value)]

    def _get(self, key: str, default: object) -> Any:
        if key in self._data:
            return self._data[key]
        if default is None:
            raise self.error(None, f"{key} is missing {self._place()}", f"add a line {key} = ...")
        return default

    def _place(self) -> str:
        names = ".".join(str(part) for part in self._where if isinstance(part, str))
        return f"in [{names}]" if names else "at the top of the file"


class TomlSource:
    """The text of one file and where its keys stand."""

    def __init__(self, name: str, data: bytes) -> None:
        """Raises ProfileError when it is not TOML in UTF-8."""
        self.name = name
        text = self._decoded(data)
        try:
            self._root = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise self._syntax(text, str(error)) from None
        self._lines: dict[Where, int] = {}
        for where, line in _key_lines(text):
            self._lines.setdefault(where, line)

    def root(self, keys: Sequence[str]) -> TomlTable:
        """The top table; keys other than `keys` are refused."""
        return TomlTable(self, self._root, (), keys)

    def line_of(self, where: Where) -> int | None:
        """The line of a key, else of the table around it, else None."""
        while where and where not in self._lines:
            where = where[:-1]
        return self._lines.get(where)

    def _decoded(self, data: bytes) -> str:
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            raise ProfileError(self.name, line, "this is not UTF-8 text", "save the file as UTF-8") from None
        if text.startswith("\ufeff"):
            raise ProfileError(
                self.name, 1, "the file starts with a byte order mark", "save it as UTF-8 without one"
            )
        return text

    def _syntax(self, text: str, message: str) -> ProfileError:
        found = re.search(r"\(at line (\d+), column (\d+)\)", message)
        line = int(found.group(1)) if found else text.count("\n") + 1
        problem = re.sub(r"\s*\(at [^)]*\)", "", message)
        if problem == "Cannot overwrite a value":
            return ProfileError(self.name, line, "the key on this line is given twice", "keep one of them")
        return ProfileError(self.name, line, f"not valid TOML ({problem})", "correct this line")


def _key_lines(text: str) -> Iterable[tuple[Where, int]]:
    """Each key and header with its line, in the order of the file."""
    table: Where = ()
    counts: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if header := _HEADER.match(line):
            name = header.group(2)
            table = tuple(part.strip(' "') for part in name.split("."))
            if header.group(1) == "[[":
                yield table, number
                table = (*table, counts.setdefault(name, 0))
                counts[name] += 1
            yield table, number
        elif key := _KEY.match(line):
            yield (*table, key.group(1)), number


def _nearest(key: str, keys: Sequence[str]) -> str:
    close = difflib.get_close_matches(key, keys, n=1, cutoff=0.5)
    if close:
        return f"the nearest valid one is {close[0]!r}"
    return f"choose one of {', '.join(keys)}"


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
