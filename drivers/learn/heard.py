"""What was heard and what the person did meanwhile: the evidence that everything here works on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from drivers.transport import Chunk


class Step(StrEnum):
    """What was on the instrument while it was heard."""

    BETWEEN = "between"
    """The person is at work; anything may be shown."""
    REST = "rest"
    """Empty pan, or hoses open."""
    LOADED = "loaded"
    """A weight is on, or suction is applied."""
    TARED = "tared"
    """The weight is on and the display was tared to zero."""
    BELOW = "below"
    """The tared weight was taken off: the display is below zero."""


@dataclass(frozen=True, slots=True)
class Passage:
    """Bytes with their arrival (ns), all heard during one step; passages follow each other without a gap."""

    step: Step
    chunks: tuple[Chunk, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """One line without its end. `at_s` is when its last byte arrived."""

    text: str
    at_s: float
    step: Step


class CannotTell(Exception):  # noqa: N818  it is an answer, not a fault
    """The evidence does not decide; the text is a sentence that says why and what may help."""


def all_bytes(passages: Sequence[Passage]) -> bytes:
    """Everything heard, in order."""
    return b"".join(data for passage in passages for data, _ in passage.chunks)
