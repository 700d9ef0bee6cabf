"""The one way to read the lines that agrees with what the person did, or the reason why there is none."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Final, Literal

from drivers.learn.ends import line_end, lines_of, period_s, without_spoilt
from drivers.learn.heard import CannotTell, Line, Passage, Step
from drivers.learn.layouts import MOST_LINES, Layout, layouts, numbers_at
from drivers.learn.number import MOST_NUMBERS, Mark
from drivers.learn.range_marks import RangeMarks, range_marks
from drivers.learn.writing import profile_text
from drivers.line_grammar import LineGrammar
from drivers.profile import LineProfile, Mode, NumberField, SerialSettings, SignField, Suction
from drivers.profile_file import parse_profile
from drivers.reading import Quality
from drivers.toml_table import ProfileError
from drivers.units import Quantity, Unit, to_base

LEAST_LINES: Final = 20
LEAST_IN_STEP: Final = 4
MOST_ODD: Final = 0.05
"""Share of lines that may be of another kind than the numbers (overload, a message at switching on)."""
MOST_STROKES: Final = 7
CLEAR_DIGITS: Final = 10
"""Fewer steps of the last digit between rest and load say nothing."""


@dataclass(frozen=True, slots=True)
class Known:
    """What the person says, and how the port was opened. `mass_g` is the weight that was put on."""

    quantity: Quantity | None = None
    unit: Unit | None = None
    mass_g: float | None = None
    number: int | None = None
    """Which of the numbers of the line the display shows, from 0."""
    serial: SerialSettings = field(default_factory=SerialSettings)
    request: bytes = b""


@dataclass(frozen=True, slots=True)
class Question:
    """What only the person can say. `choices` are shown as they are."""

    about: Literal["unit", "number", "quantity"]
    text: str
    choices: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """A profile, with what speaks for it and what was not heard."""

    profile: LineProfile
    text: str
    """The profile file."""
    evidence: tuple[str, ...]
    not_heard: tuple[str, ...]


def conclude(passages: Sequence[Passage], known: Known) -> Told | Question:
    """Weighs everything heard. Raises CannotTell."""
    end = line_end(passages)
    lines = [line for line in lines_of(passages, end) if line.text][-MOST_LINES:]
    if len(lines) < LEAST_LINES:
        raise CannotTell(f"only {len(lines)} lines were heard, {LEAST_LINES} are needed")
    chosen = _chosen(_fitting_somehow(lines), known)
    if isinstance(chosen, Question):
        return chosen
    return _profile(chosen, lines, end, known)


def _fitting_somehow(lines: Sequence[Line]) -> list[Layout]:
    """All lines must fit, or at least all but the few that a bad contact may have spoilt. Raises CannotTell."""
    try:
        return list(_fitting(lines))
    except CannotTell:
        good = without_spoilt(lines)
        if len(good) == len(lines):
            raise
        return list(_fitting(good))


def _fitting(lines: Sequence[Line]) -> Iterator[Layout]:
    """The strictest layout of each number that moved as the person said. Raises CannotTell when none did."""
    reasons: list[str] = []
    found = 0
    for mark in _marks(lines):
        for index in range(MOST_NUMBERS):
            try:
                layout = _first_that_fits(lines, index, mark)
            except CannotTell as reason:
                reasons.append(str(reason))
                continue
            found += 1
            yield layout
    if not found:
        raise CannotTell(_best_reason(reasons))


def _best_reason(reasons: Sequence[str]) -> str:
    """The most telling reason: what was wrong with a number that did move."""
    dull = ("only some of the lines carry this number", "no number", "a number that did not")
    telling = [reason for reason in reasons if not reason.startswith(dull)]
    if telling:
        return next((reason for reason in telling if "thousands" in reason), telling[0])
    moved = [reason for reason in reasons if reason.startswith("a number that did not")]
    return "no number of the line moved as you said" if moved else "no line carries a number"


def _marks(lines: Sequence[Line]) -> list[Mark]:
    """Decimal marks to try: without any comma between digits a point is meant."""
    commas = any(
        a.isdigit() and b == "," and c.isdigit()
        for line in lines[:200]
        for a, b, c in zip(line.text, line.text[1:], line.text[2:], strict=False)
    )
    return ["point", "comma"] if commas else ["point"]


def _first_that_fits(lines: Sequence[Line], index: int, mark: Mark) -> Layout:
    found = numbers_at(lines, index, mark)
    _require_movement([cut.line for cut in found], [cut.digits.replace(",", ".") for cut in found])
    reason = CannotTell("the lines change in a way that is not understood")
    good: list[Layout] = []
    try:
        for layout in layouts(found, index, mark):
            try:
                _require_steps(layout)
                _require_reading(layout, lines)
                good.append(layout)
            except CannotTell as error:
                reason = error
    except CannotTell as error:
        reason = error
    if not good:
        raise reason
    return max(good, key=lambda layout: (layout.stable_told, _aligned(layout)))


def _aligned(layout: Layout) -> bool:
    """Whether the number stands in columns: the stricter reading where both fit."""
    return any(isinstance(item, NumberField) and item.width is not None for item in layout.fields)


def _in_step(lines: Sequence[Line], values: Sequence[str], step: Step) -> list[float]:
    """The later half of what was read during a step: the value has settled."""
    found = [float(value) for line, value in zip(lines, values, strict=True) if line.step is step]
    return sorted(found[len(found) // 2 :])


def _median(values: Sequence[float]) -> float:
    return values[len(values) // 2]


def _digit(values: Sequence[str]) -> float:
    return 10.0 ** -max(len(value.partition(".")[2]) for value in values)


def _require_movement(lines: Sequence[Line], values: Sequence[str]) -> None:
    rest, loaded = _in_step(lines, values, Step.REST), _in_step(lines, values, Step.LOADED)
    if len(rest) < LEAST_IN_STEP or len(loaded) < LEAST_IN_STEP:
        raise CannotTell("no number was heard at rest and under load")
    apart = abs(_median(loaded) - _median(rest))
    spread = max(rest[-1] - rest[0], loaded[-1] - loaded[0])
    if (
        apart < max(CLEAR_DIGITS * _digit(values), 4 * spread)
        or _strokes(list(map(float, values))) > MOST_STROKES
    ):
        raise CannotTell("a number that did not move as you said was left aside")


def _strokes(values: Sequence[float]) -> float:
    """How often the value went all the way. A load comes and goes in few strokes; a checksum leaps up and down."""
    reach = max(values) - min(values)
    leaps = [abs(b - a) for a, b in itertools.pairwise(values)]
    return sum(leap for leap in leaps if leap > 0.05 * reach) / reach if reach else 0.0


def _require_steps(layout: Layout) -> None:
    """Tared it is near zero, below it is as far below as it was above. Skipped steps prove nothing."""
    at = {step: _in_step(layout.lines, layout.values, step) for step in Step}
    span = _median(at[Step.LOADED]) - _median(at[Step.REST])
    for step, expected in ((Step.TARED, 0.0), (Step.BELOW, -span)):
        if at[step] and abs(_median(at[step]) - expected) > 0.1 * abs(span):
            raise CannotTell("a number that did not move as you said was left aside")
    if at[Step.BELOW] and span * _median(at[Step.BELOW]) >= 0:
        raise CannotTell("the sign of a value below zero was not found in the line")


def _require_reading(layout: Layout, lines: Sequence[Line]) -> None:
    """The real grammar reads each line to the very value that was cut from it, and few lines are left over."""
    profile = _bare(layout, layout.unit or Unit.G)
    _written(profile, ())
    grammar = LineGrammar(profile)
    for line, value in zip(layout.lines, layout.values, strict=True):
        parsed = grammar.parse(line.text)
        if parsed is None or parsed.value is None or parsed.value != to_base(value, profile.unit) + 0.0:
            raise CannotTell("the lines change in a way that is not understood")
    if len(lines) - len(layout.lines) > MOST_ODD * len(lines) and not _only_marks(layout, lines):
        raise CannotTell("lines of several kinds take turns; set the instrument to send one line a reading")


def _only_marks(layout: Layout, lines: Sequence[Line]) -> bool:
    """Whether all lines left over are marks of an overload."""
    return not range_marks(layout, lines, _bare(layout, layout.unit or Unit.G)).unexplained


def _bare(layout: Layout, unit: Unit) -> LineProfile:
    return LineProfile(
        name="learned",
        title="Learned",
        quantity=unit.quantity,
        unit=unit,
        mode=Mode.STREAMED,
        period_s=1.0,
        terminator=b"\n",
        fields=layout.fields,
    )


def _chosen(fitting: Sequence[Layout], known: Known) -> Layout | Question:
    """The one number that the display shows."""
    if len({layout.mark for layout in fitting}) > 1:
        raise CannotTell("it is not told whether a comma is a decimal mark or stands between fields")
    strokes = [_strokes(list(map(float, layout.values))) for layout in fitting]
    fitting = [x for x, count in zip(fitting, strokes, strict=True) if count <= 1.5 * min(strokes) + 1]
    if known.number is not None:
        fitting = [layout for layout in fitting if layout.index == known.number]
    if known.mass_g is not None:
        fitting = [layout for layout in fitting if _fits_mass(layout, known)]
        if not fitting:
            raise CannotTell(
                f"no number of the line rose by the {known.mass_g:g} g that you put on, in the unit it names"
            )
    if len(fitting) == 1:
        return fitting[0]
    if not fitting:
        raise CannotTell("no number of the line moved as you said")
    if all(layout.values == fitting[0].values for layout in fitting):
        raise CannotTell(
            f"{len(fitting)} numbers of the line were always the same; put something on, tare, "
            "take it off and learn again, so that they differ"
        )
    shown = tuple(f"{layout.label} {layout.values[-1]}".strip() for layout in fitting)
    return Question(
        "number", "Several numbers of the line moved. Which one does the display show now?", shown
    )


def number_of(fitting_choice: int, passages: Sequence[Passage]) -> int:
    """The place in the line (from 0) of the choice made in a question about the number."""
    lines = [line for line in lines_of(passages, line_end(passages)) if line.text][-MOST_LINES:]
    return _fitting_somehow(lines)[fitting_choice].index


def _fits_mass(layout: Layout, known: Known) -> bool:
    unit = layout.unit or known.unit
    if unit is None or unit.quantity is not Quantity.MASS or known.mass_g is None:
        return True
    rest, loaded = (_in_step(layout.lines, layout.values, step) for step in (Step.REST, Step.LOADED))
    rise_g = (_median(loaded) - _median(rest)) * 10.0**unit.exponent
    return abs(rise_g - known.mass_g) <= 0.02 * known.mass_g


def _profile(layout: Layout, lines: Sequence[Line], end: bytes, known: Known) -> Told | Question:
    unit = layout.unit or known.unit
    if unit is None:
        choices = tuple(u.value for u in Unit if known.quantity in (None, u.quantity))
        beside = f" (the word beside the number is {layout.unit_word!r})" if layout.unit_word else ""
        text = f"The line names no unit that is known here{beside}. Which unit does the display show?"
        return Question("unit", text, choices)
    if known.quantity is not None and unit.quantity is not known.quantity:
        raise CannotTell(f"it speaks in {unit.value}, which is no unit of {known.quantity.value}")
    rest, loaded = (_median(_in_step(layout.lines, layout.values, s)) for s in (Step.REST, Step.LOADED))
    if unit.quantity is Quantity.MASS and loaded < rest:
        raise CannotTell("the number fell when the weight was put on")
    marks = range_marks(layout, lines, _bare(layout, unit))
    period = period_s(lines)
    profile = replace(
        _bare(layout, unit),
        title=f"Learned {'balance' if unit.quantity is Quantity.MASS else 'transducer'}",
        mode=Mode.POLLED if known.request else Mode.STREAMED,
        request=known.request,
        period_s=period,
        silence_s=round(min(max(2.0, 5 * period), 600.0), 1),
        terminator=end,
        suction=Suction.NEGATIVE
        if loaded < rest and unit.quantity is Quantity.PRESSURE
        else Suction.POSITIVE,
        overload=marks.overload,
        underload=marks.underload,
        serial=known.serial,
    )
    return _told(profile, layout, lines, marks)


def _told(profile: LineProfile, layout: Layout, lines: Sequence[Line], marks: RangeMarks) -> Told:
    evidence = (
        f"{len(layout.lines)} of {len(lines)} lines carry the number; it moved as you said",
        f"decimal {layout.mark}, unit {profile.unit.value}"
        + ("" if layout.unit else " (as you said; the line does not name it)"),
        f"a line each {profile.period_s:g} s",
    )
    not_heard = tuple(_not_heard(layout, marks))
    text = _written(profile, ["Written by `lastgrain learn`.", *evidence, *not_heard])
    return Told(profile, text, evidence, not_heard)


def _written(profile: LineProfile, remarks: Sequence[str]) -> str:
    """The file's text, proved to be read back as the same profile. Raises CannotTell."""
    text = profile_text(profile, remarks)
    try:
        read = parse_profile(text.encode(), f"{profile.name}.toml")
    except ProfileError as error:
        raise CannotTell(f"the layout found cannot be written as a profile ({error.problem})") from None
    if read != profile:
        raise CannotTell("the layout found cannot be written as a profile")
    return text


def _not_heard(layout: Layout, marks: RangeMarks) -> Iterator[str]:
    if not layout.stable_told:
        yield "No stability mark was told: the tool judges by the readings alone"
    if not any(value.startswith("-") and Decimal(value) for value in layout.values):
        how = (
            "its own field"
            if any(isinstance(f, SignField) for f in layout.fields)
            else "directly before the number"
        )
        yield f"No value below zero was heard: a minus is expected as {how}, any other way is refused"
    if not marks.overload:
        yield "No overload was heard: add its mark from the manual, until then such a line is refused"
    if layout.unit is None:
        yield "The line does not name its unit: if the unit is changed at the instrument, nothing can notice it"
    if marks.unexplained:
        rare = Counter(marks.unexplained).most_common(3)
        yield "Lines that are not read: " + ", ".join(f"{text!r} ({count})" for text, count in rare)


def values_read(profile: LineProfile, lines: Sequence[Line]) -> int:
    """How many of the lines the profile reads, overload included."""
    grammar = LineGrammar(profile)
    good = (Quality.OK, Quality.OVERLOAD, Quality.UNDERLOAD)
    return sum(
        parsed is not None and parsed.quality in good for parsed in (grammar.parse(x.text) for x in lines)
    )
