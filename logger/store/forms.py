"""A line of the journal taken apart: its form, the digits shown, the time of arrival; and put together again.

The form holds everything but those two numbers: channel, quality, flags, the raw line around its digits,
and how the value follows from the digits (sign and power of ten). Where it does not, the form holds it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_SHIFTS = (0, 2, 3, -3, 1, -1, -2)
_LONGEST = 15
"""Digits that a number may have to be taken out; a longer run of digits is text."""
Form = list[str | int | None]


@dataclass(slots=True)
class Forms:
    """The forms of a stretch, numbered in order of appearance."""

    texts: list[Form] = field(default_factory=list)
    numbers: dict[tuple[str | int | None, ...], int] = field(default_factory=dict)

    @classmethod
    def of(cls, texts: object) -> Forms:
        """Forms as they were packed. Raises TypeError when they are none."""
        if not isinstance(texts, list):
            raise TypeError("no forms")
        return cls(texts=texts)

    def number(self, form: tuple[str | int | None, ...]) -> int:
        """The form's number; a new one gets the next."""
        found = self.numbers.get(form)
        if found is None:
            found = self.numbers[form] = len(self.texts)
            self.texts.append(list(form))
        return found

    def channels(self, kinds: list[int]) -> list[int]:
        """0 for lines of the first form's channel, else 1."""
        first = self.texts[0][0] if self.texts else ""
        of_form = [0 if form[0] == first else 1 for form in self.texts]
        return [of_form[kind] for kind in kinds]


def split_line(line: str, forms: Forms) -> tuple[int, int, int]:
    """Number of the form, digits, time of arrival in ns."""
    channel, at_ns, between, value, raw = _fields(line)
    if str(int(at_ns)) != at_ns:
        raise ValueError("a time is not written as usual")
    for match in _NUMBER.finditer(raw):
        token = match[0]
        if len(token) > _LONGEST:
            continue
        rule = _rule(token, value)
        if rule is None:
            continue
        whole, _, decimals = token.partition(".")
        digits = int(whole + decimals)
        shown = len(whole) if whole[0] == "0" else 1
        form = (channel, between, raw[: match.start()], raw[match.end() :], len(decimals), shown, *rule)
        return forms.number(form), digits, int(at_ns)
    return forms.number((channel, between, value, raw)), 0, int(at_ns)


def join_line(forms: Forms, kind: int, digits: int, at_ns: int) -> str:
    """The line again, with its line feed."""
    form = forms.texts[kind]
    if len(form) == 4:
        channel, between, value, raw = form
        return f"{channel}\t{at_ns}\t{between}\t{value}\t{raw}\n"
    channel, between, before, behind, decimals, shown, sign, shift = form
    token = _token(digits, int(decimals or 0), int(shown or 0))
    value = _value(token, str(sign), int(shift or 0))
    return f"{channel}\t{at_ns}\t{between}\t{value}\t{before}{token}{behind}\n"


def _fields(line: str) -> tuple[str, str, str, str, str]:
    channel, at_ns, quality, stable, resolution, value, raw = line[:-1].split("\t")
    return channel, at_ns, f"{quality}\t{stable}\t{resolution}", value, raw


def _rule(token: str, value: str) -> tuple[str, int] | None:
    """Sign and power of ten that make the value of the digits shown; None when nothing does."""
    if not value:
        return None
    sign = "-" if value[0] == "-" else ""
    return next(((sign, shift) for shift in _SHIFTS if _value(token, sign, shift) == value), None)


def _value(token: str, sign: str, shift: int) -> str:
    return repr(float(f"{sign}{token}e{shift}" if shift else f"{sign}{token}"))


def _token(digits: int, decimals: int, shown: int) -> str:
    text = str(digits).zfill(decimals + shown)
    return f"{text[:-decimals]}.{text[-decimals:]}" if decimals else text
