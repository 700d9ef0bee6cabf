"""Which key does what, in one table: bindings, key line, help page and line mode all read it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class KeyUse:
    """A key, the words it is typed as in line mode, what it does, and the command it needs (if any)."""

    key: str
    word: str
    label: str
    needs: str
    help: str


USES = (
    KeyUse("n", "new", "new run", "start", "New run: choose the method, scan or type the sample."),
    KeyUse("c", "cautions", "cautions", "", "Read the cautions; acknowledge them by name when they are due."),
    KeyUse("w", "weight", "type weight", "type_weight", "Type a weight by hand, with a reason."),
    KeyUse("h", "hold", "hold", "hold", "Hold the run, with a reason. Effective time stands still."),
    KeyUse("r", "resume", "resume", "resume", "Resume a run on hold, with a reason."),
    KeyUse("s", "stop", "stop", "stop", "Stop sieving early, with a reason. Asks once more."),
    KeyUse("x", "abort", "abort", "abort", "Abort the run without a result, with a reason. Asks once more."),
    KeyUse("t", "tapped", "tapped", "note", "Note that you tapped the lid."),
    KeyUse("b", "brushed", "brushed", "note", "Note that you brushed the sieve."),
    KeyUse("l", "lumps", "lumps", "note", "Note that you crushed lumps."),
    KeyUse("m", "note", "note", "note", "Write any other note into the run."),
    KeyUse("i", "inspected", "sieve in order", "sieve_care", "The sieve was inspected: clean and in order."),
    KeyUse("o", "finding", "sieve: note", "sieve_care", "Write down what was found on the sieve."),
    KeyUse("d", "deposits", "lid deposits", "lid_deposits", "Note that powder was found on the lid."),
    KeyUse("g", "go", "go to", "", "Go to another place: the menu lists them all."),
    KeyUse("k", "controls", "controls", "", "Take the controls, or release them when you hold them."),
    KeyUse("e", "events", "log", "", "All events of the run, newest first."),
    KeyUse("v", "view", "view", "", "Change the lower left part: chart or weighings."),
    KeyUse("?", "help", "help", "", "This page."),
    KeyUse("q", "quit", "leave", "", "Leave the console. The service and the run go on."),
)
NOTE_KINDS = {"t": "lid-tapped", "b": "sieve-brushed", "l": "lumps-crushed", "m": "other"}
NOTE_TEXTS = {"t": "Lid tapped.", "b": "Sieve brushed.", "l": "Lumps crushed."}

STEPS = (
    ("acknowledge", "c", "read cautions"),
    ("accept_weight", "accept_weight", "accept weight"),
    ("close", "close", "close run"),
    ("resume", "r", "resume"),
    ("start", "n", "new run"),
)
"""What Enter does: the first of these that would be accepted now (command, key or command to use, label)."""


def step(can: Collection[str]) -> tuple[str, str] | None:
    """What Enter does now and how it is called, None when nothing is asked of the keyboard."""
    return next(((use, label) for command, use, label in STEPS if command in can), None)


def applies(use: KeyUse, can: Collection[str]) -> bool:
    """Whether the key would do something now."""
    if use.key == "k":
        return "take_controls" in can or "release_controls" in can
    return not use.needs or use.needs in can


def key_labels(can: Collection[str], answering: bool) -> list[tuple[str, str]]:
    """Key and label of everything that applies now, the asked thing first."""
    now = step(can) if answering else None
    labels = [("Enter", now[1])] if now else []
    for use in USES:
        if applies(use, can) and (answering or use.key in "?qevg"):
            labels.append((use.key, _label(use, can)))
    return labels


def _label(use: KeyUse, can: Collection[str]) -> str:
    if use.key == "k":
        return "release" if "take_controls" not in can else "take controls"
    return use.label
