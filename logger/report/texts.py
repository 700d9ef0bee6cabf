"""Every text of the reports by its key, from one TOML file a language, and figures as that language writes them.

Texts hold placeholders in braces. Values are put in once and never read as a text again, so what people typed
cannot reach further than its place.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from logger.core.rounding import rounded_text

FOLDER = Path(__file__).parent / "texts"
MINUS = "\u2212"


class UnknownLanguageError(ValueError):
    """There is no catalogue for a language; the sentence lists those that there are."""


@dataclass(frozen=True, slots=True)
class Texts:
    """One language. Call it with a key and the values of the text's placeholders."""

    language: str
    decimal: str
    entries: Mapping[str, str | tuple[str, ...]]

    def __call__(self, key: str, **values: object) -> str:
        """The text of `key`. Raises KeyError for a key or a placeholder that is not there."""
        found = self.entries[key]
        if isinstance(found, tuple):
            raise KeyError(f"{key} is a list")
        return found.format(**values)

    def listed(self, key: str) -> tuple[str, ...]:
        """The lines of a list."""
        found = self.entries[key]
        if isinstance(found, str):
            raise KeyError(f"{key} is no list")
        return found

    def word(self, group: str, name: str) -> str:
        """The word for a name of the record (an outcome, a source); the name itself where there is none."""
        found = self.entries.get(f"{group}.{name}")
        return found if isinstance(found, str) else name

    def fixed(self, value: float, decimals: int) -> str:
        """A figure with so many digits behind the decimal sign, rounded exactly."""
        return self.figure(rounded_text(value, decimals))

    def short(self, value: float, digits: int = 6) -> str:
        """A figure with at most so many significant digits and no trailing zeros."""
        return self.figure(f"{value:.{digits}g}")

    def figure(self, text: str) -> str:
        """A figure that is text already, with the language's decimal sign and a true minus."""
        return text.replace(".", self.decimal).replace("-", MINUS)


def languages() -> tuple[str, ...]:
    """Codes of the languages that have a catalogue."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))


@cache
def texts(language: str) -> Texts:
    """The catalogue of a language, for example `en`. Raises UnknownLanguageError with the list."""
    if language not in languages():
        raise UnknownLanguageError(
            f"There are no report texts in {language!r}; there are: {', '.join(languages())}."
        )
    table = tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8"))
    entries = dict(_flat(table))
    return Texts(language=language, decimal=str(entries.pop("decimal")), entries=entries)


def _flat(table: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, str | tuple[str, ...]]]:
    for name, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", tuple(value) if isinstance(value, list) else str(value)
