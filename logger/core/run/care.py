"""Care of the sieve: inspected and cleaned before and after, and what was seen on the lid."""

from __future__ import annotations

from typing import Literal

from logger.core.run.commands import Command, Refused
from logger.core.run.events import EventKind as E
from logger.core.run.run import Run
from logger.core.run.states import RunState
from logger.core.text import clean_text

S = RunState
When = Literal["before", "after"]

BEFORE = frozenset({S.PLANNED, S.CHECKING, S.TARING})
"""The sieve has not been weighed yet."""
AFTER = frozenset({S.AWAITING_REVIEW})
LID_OFF = frozenset({S.RELEASING, S.WEIGHING, S.COMPUTING, S.AWAITING_REVIEW, S.HELD})
"""The lid may be off, or has been."""
_TEXTS = {
    ("before", True): "Sieve inspected before the run: clean and in order.",
    ("before", False): "Sieve before the run: {note}.",
    ("after", True): "Sieve cleaned and inspected after the run: in order.",
    ("after", False): "Sieve after the run: {note}.",
}


def moment(run: Run) -> When | None:
    """Which care the state asks for."""
    return "before" if run.state in BEFORE else "after" if run.state in AFTER else None


def asked(run: Run) -> bool:
    """Whether the sieve's care is still to be told; it is asked once before and once after."""
    when = moment(run)
    return when is not None and all(entry["when"] != when for entry in run.facts.care)


def note_sieve(run: Run, command: Command, now_ns: int) -> str:
    """In order (`in_order` true), or what was found (`note`). Raises Refused without either."""
    when, note = moment(run), _note(command)
    in_order = command.args.get("in_order") is True
    if when is None or not (in_order or note):
        raise Refused("Say what is wrong with the sieve, or that it is in order.")
    text = _TEXTS[when, in_order].format(note=note.rstrip("."))
    return _emit(run, command, now_ns, when, in_order, note, text)


def note_lid(run: Run, command: Command, now_ns: int) -> str:
    """Powder was seen on the lid; it may be said how much."""
    note = _note(command)
    text = f"Deposits on the lid{': ' if note else ''}{note.rstrip('.')}."
    return _emit(run, command, now_ns, "lid", False, note, text)


def _note(command: Command) -> str:
    return clean_text("note", command.args.get("note", ""), longest=200)


def _emit(run: Run, command: Command, now_ns: int, when: str, in_order: bool, note: str, text: str) -> str:
    run.emit(E.SIEVE_CARED, now_ns, when=when, in_order=in_order, note=note, text=text, by=command.by)
    return text
