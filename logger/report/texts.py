"""Every text of the reports by its key, from one TOML file a language, and figures as that language writes them.

Texts hold placeholders in braces. Values are put in once and never read as a text again, so what people typed
cannot reach further than its place. The program's own recorded sentences are English; a language may turn them
into its own by patterns in the table `recorded`: {n}, {n1} ... stand for figures, {text...} for a sentence in the
sentence, {sources} and {outcome} for names of the record, any other name for what stays as it is.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from logger.core.rounding import rounded_text

FOLDER = Path(__file__).parent / "texts"
MINUS = "\u2212"
_FIGURE = re.compile(r"n\d*")
_NUMBER = r"[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?"


class UnknownLanguageError(ValueError):
    """There is no catalogue for a language; the sentence lists those that there are."""


@dataclass(frozen=True, slots=True)
class Texts:
    """One language. Call it with a key and the values of the text's placeholders."""

    language: str
    decimal: str
    entries: Mapping[str, str | tuple[str, ...]]
    sentences: tuple[tuple[re.Pattern[str], str], ...] = ()

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

    def recorded(self, text: str) -> str:
        """A sentence that the program recorded, in this language where it has a pattern for it."""
        for pattern, template in self.sentences:
            found = pattern.fullmatch(text)
            if found is not None:
                return template.format(**{n: self._part(n, part) for n, part in found.groupdict().items()})
        return text

    def _part(self, name: str, part: str) -> str:
        if name.startswith("text"):
            return self.recorded(part)
        if _FIGURE.fullmatch(name):
            return self.figure(part)
        if name == "outcome":
            return self.word("outcome", part)
        if name == "sources":
            return ", ".join(self.word("source", each) for each in part.split(", "))
        return part

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
    sentences = tuple((pattern(known), own) for known, own in table.pop("recorded", {}).items())
    entries = dict(_flat(table))
    return Texts(language, str(entries.pop("decimal")), entries, sentences)


def pattern(sentence: str) -> re.Pattern[str]:
    """The expression for a sentence with placeholders."""
    parts = re.split(r"\{(\w+)\}", sentence)
    return re.compile("".join(_group(part) if i % 2 else re.escape(part) for i, part in enumerate(parts)))


def _group(name: str) -> str:
    return f"(?P<{name}>{_NUMBER if _FIGURE.fullmatch(name) else '.+?'})"


def _flat(table: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, str | tuple[str, ...]]]:
    for name, value in table.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", tuple(value) if isinstance(value, list) else str(value)
