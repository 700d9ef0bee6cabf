"""The number of a line and its sign: where both may stand, and how a profile says so."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from drivers.learn.heard import CannotTell, Line, Step
from drivers.learn.tokens import without_clocks
from drivers.profile import LineField, NumberField, SignField, SpacesField, TextField

Mark = Literal["point", "comma"]
Trailing = Literal["none", "one", "bare", "after-blank"]
"""Behind the number: no sign; one character, blank for a plus; a minus or nothing; a blank and one character."""

MOST_NUMBERS: Final = 10
_PATTERNS: Final[dict[Mark, re.Pattern[str]]] = {
    "point": re.compile(r"\d+(?:\.\d+)?", re.ASCII),
    "comma": re.compile(r"\d+(?:,\d+)?", re.ASCII),
}
_AREA: Final = re.compile(r"[-+ ]*$")
COMMA_SENTENCE: Final = "it is not told whether a comma is a decimal mark or stands between fields"
MOST_OF_A_FLAG: Final = 4
"""Decimals take more different values than this while a load comes and goes."""
_EXPONENT: Final = re.compile(r"[eE][-+]?\d")


@dataclass(frozen=True, slots=True)
class Cut:
    """One line cut at its number: `left` + `area` + `digits` + `right` is the line."""

    line: Line
    left: str
    area: str
    """Blanks and sign before the first digit."""
    digits: str
    right: str


def cuts(lines: Sequence[Line], index: int, mark: Mark) -> list[Cut]:
    """Each line cut at its number of that `index` from the left; lines that have none are left out."""
    found: list[Cut] = []
    for line in lines:
        plain = without_clocks(line.text)
        numbers = list(_PATTERNS[mark].finditer(plain))
        if index < len(numbers):
            found.append(_cut(line, numbers[index]))
    return found


def _cut(line: Line, number: re.Match[str]) -> Cut:
    before = line.text[: number.start()]
    area = _AREA.search(before)
    start = area.start() if area else number.start()
    return Cut(line, before[:start], before[start:], number.group(), line.text[number.end() :])


def refuse_doubtful(found: Sequence[Cut], mark: Mark) -> None:
    """Raises CannotTell where the number may go on beyond what was cut, or end before."""
    for cut in found:
        right = without_clocks(cut.right)
        if _EXPONENT.match(right):
            raise CannotTell("the number has an exponent, which is not read")
        if re.match(r"[.,]\d", right) and cut.digits.isdigit():
            raise CannotTell(COMMA_SENTENCE)
        before = without_clocks(cut.left + cut.area)
        if re.search(r"(^|\D)\.$", before):
            raise CannotTell("the number has no digit before its decimal point, which is not read")
        if re.search(r"\d[.,' ]$", before) and not _stands_alone(found, before[-1]):
            raise CannotTell("digits stand directly before the number: it is not told where it begins")
    _refuse_thousands(found)
    if mark == "comma":
        _refuse_second_field(found)


def _refuse_thousands(found: Sequence[Cut]) -> None:
    """A mark that only long numbers have, always before three digits, is no decimal mark."""
    marked = [re.split(r"[.,]", cut.digits)[1] for cut in found if not cut.digits.isdigit()]
    if 0 < len(marked) < len(found) and all(len(decimals) == 3 for decimals in marked):
        raise CannotTell("the number has a mark between its thousands, which is not read")


def _stands_alone(found: Sequence[Cut], between: str) -> bool:
    """Whether what stands between is no mark of thousands: behind one there are three digits, always."""
    wholes = [re.split(r"[.,]", cut.digits)[0] for cut in found]
    own_mark = all(not cut.digits.isdigit() for cut in found) and between not in "".join(
        c.digits for c in found
    )
    return (own_mark or between == " ") and not all(len(whole) == 3 for whole in wholes)


def _refuse_second_field(found: Sequence[Cut]) -> None:
    """Behind a comma may stand another field of whole numbers: a flag or channel, a counter, or all noise."""
    parts = [cut.digits.partition(",") for cut in found if "," in cut.digits]
    decimals = [part[2] for part in parts]
    if len(decimals) < len(found) or len(set(map(len, decimals))) > 1:
        raise CannotTell(COMMA_SENTENCE)
    at_rest = [int(d) for cut, d in zip(found, decimals, strict=False) if cut.line.step is Step.REST]
    jumps = sorted(abs(b - a) for a, b in itertools.pairwise(at_rest))
    turn = 10 ** len(decimals[0])
    noisy = bool(jumps) and min(jumps[len(jumps) // 2], turn - jumps[len(jumps) // 2]) > max(2, 0.05 * turn)
    counting = sum(b - a == 1 for a, b in itertools.pairwise(map(int, decimals))) > 0.5 * len(decimals)
    if len(set(decimals)) <= MOST_OF_A_FLAG or noisy or counting:
        raise CannotTell(COMMA_SENTENCE)


def signed_value(cut: Cut, trailing: Trailing) -> str:
    """The number as a plain decimal text with its sign."""
    negative = "-" in (trailing_sign(cut, trailing) if trailing != "none" else cut.area)
    return ("-" if negative else "") + cut.digits.replace(",", ".")


def trailing_sign(cut: Cut, trailing: Trailing) -> str:
    """The sign text after the number; empty when it is left out."""
    text = cut.right[1:] if trailing == "after-blank" else cut.right
    signs = ("-", "+") if trailing == "bare" else ("-", "+", " ")
    return text[:1] if text[:1] in signs else ""


def trailings(found: Sequence[Cut]) -> list[Trailing]:
    """Where a sign behind the number may stand. None when one was heard before the number."""
    if any("-" in cut.area or "+" in cut.area for cut in found):
        return ["none"]
    if any(cut.right.startswith("-") for cut in found):
        return ["one", "bare"]
    if any(cut.right.startswith(" -") for cut in found):
        return ["after-blank"]
    return ["none"]


def number_fields(found: Sequence[Cut], mark: Mark) -> Iterator[list[LineField]]:
    """Fields for area and number, the strictest first; whoever asks tries them on the lines."""
    if all(cut.left and cut.area.startswith(" ") for cut in found):
        inner = [replace(cut, left=cut.left + " ", area=cut.area[1:]) for cut in found]
        # The blank between two fields is no place for a digit.
        yield from ([TextField(" "), *fields] for fields in _aligned(inner, mark))
    else:
        yield from _aligned(found, mark)


def _aligned(found: Sequence[Cut], mark: Mark) -> Iterator[list[LineField]]:
    totals = {len(cut.area) + len(cut.digits) for cut in found}
    areas = {cut.area for cut in found}
    lengths = {len(cut.digits) for cut in found}
    zero = any(re.match(r"0\d", cut.digits) for cut in found) and len(lengths) == 1
    if len(totals) == 1 and (len(areas) > 1 or zero):
        yield from _fixed(found, mark, totals.pop(), zero)
    yield from _open(found, mark)


def _fixed(found: Sequence[Cut], mark: Mark, total: int, zero: bool) -> Iterator[list[LineField]]:
    fill: Literal["space", "zero"] = "zero" if zero else "space"
    if all(re.fullmatch(r" *[-+]?", cut.area) for cut in found) and not _same_sign_column(found):
        inner = total if not zero else _zero_width(found, total)
        lead: list[LineField] = [TextField(" " * (total - inner))] if total > inner else []
        yield [*lead, NumberField(width=inner, signed=True, decimal=mark, fill=fill)]
    column = _sign_column(found)
    if column is not None:
        positive = sorted({cut.area[column] for cut in found if cut.area[column] != "-"}) or ["+"]
        lead = [TextField(" " * column)] if column else []
        number = NumberField(width=total - column - 1, decimal=mark, fill=fill)
        yield [*lead, SignField(tuple(positive), ("-",)), number]


def _zero_width(found: Sequence[Cut], total: int) -> int:
    return total - min(len(cut.area) - len(cut.area.lstrip(" ")) for cut in found)


def _same_sign_column(found: Sequence[Cut]) -> bool:
    """Whether the sign stands in one column with blanks after it in at least one line."""
    column = _sign_column(found)
    return column is not None and any(cut.area[column + 1 :] for cut in found if cut.area[column] in "+-")


def _sign_column(found: Sequence[Cut]) -> int | None:
    """The one place in the area where signs stand."""
    columns = {match.start() for cut in found for match in re.finditer(r"[-+]", cut.area)}
    if len(columns) != 1:
        return None
    column = columns.pop()
    reaches = all(len(cut.area) > column for cut in found)
    return column if reaches and all(not cut.area[:column].strip(" ") for cut in found) else None


def _open(found: Sequence[Cut], mark: Mark) -> Iterator[list[LineField]]:
    """Numbers of varying length."""
    areas = sorted({cut.area for cut in found})
    if all(re.fullmatch(r" *[-+]?", area) for area in areas):
        blanks = {len(area) - len(area.lstrip(" ")) for area in areas}
        yield [*_blanks(blanks), NumberField(signed=True, decimal=mark)]
    if len(areas) > 2:
        yield from _blanks_before_sign(areas, mark)
    shared = min(len(area) - len(area.lstrip(" ")) for area in areas)
    signed = any("-" in area or "+" in area for area in areas)
    rest = [area[shared:] for area in areas]
    if signed and len(rest) <= 6:
        positive = tuple(area for area in rest if "-" not in area)
        negative = tuple(area for area in rest if "-" in area) or tuple(
            area.replace("+", "-") for area in positive if "+" in area
        )
        yield [*_blanks({shared}), SignField(positive, negative), NumberField(decimal=mark)]


def _blanks_before_sign(areas: Sequence[str], mark: Mark) -> Iterator[list[LineField]]:
    """Blanks of varying number, then the sign with its own blanks, or nothing, then the number."""
    found = [re.fullmatch(r"( *)([-+] *)?", area) for area in areas]
    if all(found):
        before = {len(match.group(1)) for match in found if match}
        signs = {match.group(2) or "" for match in found if match}
        negative = {sign for sign in signs if sign.startswith("-")}
        if len(negative) == 1:
            yield [
                *_blanks(before),
                SignField(tuple(sorted(signs - negative)) or ("+",), tuple(negative)),
                NumberField(decimal=mark),
            ]


def _blanks(counts: set[int]) -> list[LineField]:
    if counts == {0}:
        return []
    if len(counts) == 1:
        return [TextField(" " * counts.pop())]
    return [SpacesField(min(1, *counts), max(*counts, 16))]
