"""Whether a learned profile reads what the instrument says on another day."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

from drivers.learn.conclude import Known, Question, Told, conclude, number_of
from drivers.learn.heard import CannotTell, Passage
from drivers.line_codec import LineCodec
from drivers.units import Unit
from tests.drivers.learn.invented import Dialect, Shown
from tests.drivers.learn.person import fresh, heard

Verdict = Literal["right", "right but stability not told", "cannot tell", "refuses lines", "WRONG"]


def learned(dialect: Dialect, passages: list[Passage], known: Known | None = None) -> Told:
    """The answer, with a person who reads unit and number off the display. Raises CannotTell."""
    known = known or Known()
    for _ in range(3):
        answer = conclude(passages, known)
        if isinstance(answer, Told):
            return answer
        known = read_off(dialect, passages, answer, known)
    raise CannotTell("it asks for ever")


def read_off(dialect: Dialect, passages: list[Passage], asked: Question, known: Known) -> Known:
    if asked.about == "unit":
        return replace(known, unit=Unit(dialect.unit))
    near_zero = [i for i, choice in enumerate(asked.choices) if abs(float(choice.split()[-1])) <= 1]
    if len(near_zero) != 1:  # the display is back at zero; the person cannot choose between two zeros
        raise CannotTell("the person cannot choose")
    return replace(known, number=number_of(near_zero[0], passages))


def verdict(dialect: Dialect, seed: int, tares: bool = True) -> tuple[Verdict, str]:
    """What becomes of one dialect, and the line or the reason that shows it."""
    try:
        told = learned(dialect, heard(dialect, seed, tares=tares))
    except CannotTell as reason:
        return "cannot tell", str(reason)
    return judged(dialect, told, fresh(dialect, seed))


def judged(dialect: Dialect, told: Told, shown: list[Shown]) -> tuple[Verdict, str]:
    codec = LineCodec(told.profile)
    codec.receive(dialect.line(Shown(5)), 0)
    for one in shown:
        codec.receive(dialect.line(one), 1)
    readings = codec.readings()
    if len(readings) != len(shown):
        return "WRONG", f"{len(readings)} lines of {len(shown)}"
    for one, reading in zip(shown, readings, strict=True):
        if reading.value is None:
            return "refuses lines", reading.raw
        stable_wrong = reading.stable not in (None, one.stable)
        if reading.value != dialect.base_value(one) or stable_wrong:
            return "WRONG", f"{reading.raw} was read as {reading.value}, stable {reading.stable}"
    if dialect.has_stability and readings[0].stable is None:
        return "right but stability not told", readings[0].raw
    return "right", ""
