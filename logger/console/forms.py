"""What the forms ask, in words, without saying how they are drawn."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, replace

from logger.console.literal import literal
from logger.core.snapshot import NextRunView
from logger.service.client import Reply

FIELD_LIMIT = 120
"""Ids are shorter; a scanner gone wild is stopped here."""


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """One field: its name in the command, its label, what stands in it first, and an example.

    What is typed into a `secret` one is not shown.
    """

    name: str
    label: str
    initial: str = ""
    required: bool = True
    example: str = ""
    secret: bool = False


@dataclass(frozen=True, slots=True)
class Form:
    """What is asked, and what Enter sends. `confirm` is a question asked before sending."""

    title: str
    lines: tuple[str, ...]
    fields: tuple[FieldSpec, ...]
    enter: str
    confirm: str = ""


_MASS = re.compile(r"[0-9]{1,7}(?:[.,][0-9]{1,6})?")
NO_MASS = "Type the mass in g as the balance shows it, for example 412.08."

_REASON = (FieldSpec("reason", "reason"),)
REASONS = {
    "hold": Form("HOLD THE RUN", ("Effective time stands still until you resume.",), _REASON, "hold"),
    "resume": Form("RESUME THE RUN", ("A new segment starts; both times are recorded.",), _REASON, "resume"),
    "stop": Form(
        "STOP SIEVING EARLY",
        ("The run ends without having reached its endpoint, and the record says so.",),
        _REASON,
        "stop",
        confirm="Stop the run now?",
    ),
    "abort": Form(
        "ABORT THE RUN",
        ("The run ends without a result. What was recorded is kept.",),
        _REASON,
        "abort",
        confirm="Abort the run now, without a result?",
    ),
}
TYPE_WEIGHT = Form(
    "TYPE A WEIGHT",
    ("The record says that it was typed, by whom and why.",),
    (FieldSpec("mass_g", "mass in g", example="such as 412.08"), FieldSpec("reason", "reason")),
    "next field, then send",
)
SIEVE_FINDING = Form(
    "SIEVE: SOMETHING TO NOTE",
    ("A tear, a dent, a clogged patch, a loose ring: it goes into the run's record.",),
    (FieldSpec("note", "what was found"),),
    "send",
)


def repeat(refusal: str) -> Form:
    """Asks why a sample that was out of specification is tested again."""
    return Form("TESTED AGAIN", (literal(refusal, 400),), _REASON, "start with this reason")


NOTE = Form("NOTE", ("It goes into the run's record.",), (FieldSpec("text", "note"),), "send")


def take_controls(name: str, holder: str) -> Form:
    """Asks for the name; says from whom the controls are taken."""
    now = f"They are held by {literal(holder, 40)} now." if holder else "Nobody holds them now."
    return Form(
        "TAKE THE CONTROLS",
        (now, "Other consoles go on watching."),
        (FieldSpec("name", "your name", initial=name),),
        "take the controls",
        confirm=f"Take the controls from {literal(holder, 40)}?" if holder else "",
    )


def new_run(operator: str, fill: Mapping[str, str] | None = None) -> Form:
    """The fields of a new run besides the method; what is known (the operator too) stands in them already."""
    known = {"operator_id": operator, **(fill or {})}
    fields = (
        FieldSpec("sample_id", "sample", example="scan or type"),
        FieldSpec("operator_id", "operator"),
        FieldSpec("lot", "lot", required=False),
        FieldSpec("point", "sampling point", required=False),
        FieldSpec("sampled_at", "sampled at", required=False, example="such as 2031-05-02 06:30"),
        FieldSpec("sieve_id", "test sieve", required=False, example="scan or type"),
    )
    return Form(
        title="NEW RUN",
        lines=(),
        fields=tuple(replace(each, initial=known.get(each.name) or "") for each in fields),
        enter="next field, then start",
    )


def fill_of(following: NextRunView) -> dict[str, str]:
    """The next step of a sample's job as values of the form; the operator only where it is known."""
    names = ("method_id", "sample_id", "lot", "point", "sampled_at", "sieve_id")
    aperture = {} if following.aperture_um is None else {"aperture_um": f"{following.aperture_um:g}"}
    operator = {"operator_id": following.operator_id} if following.operator_id else {}
    return {name: getattr(following, name) for name in names} | aperture | operator


def mass_typed(text: str) -> float | None:
    """The mass in g, decimal point or comma; None when the text is no such number."""
    return float(text.replace(",", ".")) if _MASS.fullmatch(text) else None


async def type_weight(command: Callable[..., Awaitable[Reply]], values: dict[str, str]) -> Reply:
    """Sends a typed weight, or refuses a text that is none."""
    mass_g = mass_typed(values["mass_g"])
    if mass_g is None:
        return Reply(False, NO_MASS)
    return await command("type_weight", mass_g=mass_g, reason=values["reason"])


def from_line(form: Form, rest: str) -> dict[str, str]:
    """Values given on the line itself: a word for each field, the last one takes the rest."""
    if not rest or len(form.fields) > 2:
        return {}
    words = rest.split(maxsplit=len(form.fields) - 1)
    return {field.name: word for field, word in zip(form.fields, words, strict=False)}
