"""What a person may ask of a run, and the answer: done, or refused with a sentence."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Do(StrEnum):
    """Names of the commands, as they travel on the local socket."""

    ACKNOWLEDGE = "acknowledge"
    ACCEPT_WEIGHT = "accept_weight"
    TYPE_WEIGHT = "type_weight"
    HOLD = "hold"
    RESUME = "resume"
    STOP = "stop"
    ABORT = "abort"
    NOTE = "note"
    SIEVE_CARE = "sieve_care"
    LID_DEPOSITS = "lid_deposits"
    RELEASED_BY_HAND = "released_by_hand"
    CLOSE = "close"


@dataclass(frozen=True, slots=True)
class Command:
    """One request. `by` is the name of the person who holds the controls."""

    do: Do
    by: str
    args: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Reply:
    """The answer; `text` is a sentence for the person who asked."""

    ok: bool
    text: str


class Refused(Exception):  # noqa: N818  a refusal is an answer, not an error of the program
    """A command that cannot be carried out now. Its text says why and what to do."""
