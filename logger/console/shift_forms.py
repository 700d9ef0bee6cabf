"""What the start of a shift asks, and the entry that each form makes."""

from __future__ import annotations

import re
from collections.abc import Awaitable, Callable
from typing import Any

from logger.console.forms import FieldSpec, Form
from logger.service.client import Reply

Values = dict[str, str]
Command = Callable[..., Awaitable[Reply]]
WHY = "start of shift"
_NUMBER = re.compile(r"-?[0-9]{1,3}(?:[.,][0-9]{1,3})?")
NAME = FieldSpec("by", "your name")
_NOTE = FieldSpec("note", "note", required=False)

AIR = Form(
    "TEMPERATURE AND HUMIDITY",
    ("Read at the bench. They go into the records of this shift's runs.",),
    (
        FieldSpec("temperature_c", "temperature in °C", example="such as 21.5"),
        FieldSpec("humidity_pct", "relative humidity in %", example="such as 48"),
    ),
    "next field, then record it",
)
BAG = Form(
    "NEW EXTRACTOR BAG",
    ("Record it once the bag is changed. Runs are counted from now on.",),
    (_NOTE,),
    "record it",
)
FILTER = Form(
    "NEW EXTRACTOR FILTER",
    ("Record it once the filter is changed. Runs are counted from now on.",),
    (_NOTE,),
    "record it",
)
DRILL = Form(
    "RESTORE DRILL",
    ("A backup was restored in another folder, and a run of it was looked at.",),
    (FieldSpec("note", "which, where, how it went"),),
    "record it",
)
WITHDRAW = Form(
    "WITHDRAW THE ENTRY JUST MADE",
    ("It stays in the register, and so does its withdrawal.",),
    (FieldSpec("why", "reason"),),
    "withdraw it",
)


def with_name(form: Form, operator: str) -> Form:
    """The form, with a field for the name where nobody has said who works here."""
    if operator:
        return form
    return Form(form.title, form.lines, (*form.fields, NAME), "next field, then record it", form.confirm)


def decimal(text: str) -> float | None:
    """A number with point or comma; None for anything else."""
    return float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else None


async def enter(command: Command, kind: str, entry: dict[str, Any], by: str, why: str = WHY) -> Reply:
    """One entry of the register."""
    return await command("register", kind=kind, entry=entry, by=by, why=why)


async def enter_air(command: Command, values: Values, by: str) -> Reply:
    """Temperature and humidity, or what is wrong with them."""
    temperature_c, humidity_pct = decimal(values["temperature_c"]), decimal(values["humidity_pct"])
    if temperature_c is None:
        return Reply(False, "Type the temperature in °C as a number, for example 21.5.")
    if humidity_pct is None:
        return Reply(False, "Type the relative humidity in % as a number, for example 48.")
    entry = {"temperature_c": temperature_c, "humidity_pct": humidity_pct}
    return await enter(command, "air_measured", entry, by)
