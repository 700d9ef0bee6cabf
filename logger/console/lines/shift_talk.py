"""Start of shift and worklist in words."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from functools import partial

from logger.console import shift_forms
from logger.console.forms import Form
from logger.console.line_report import spoken
from logger.console.lines import run_talk
from logger.console.lines.talk import BACK, NOTHING_SENT, Talk, Values
from logger.console.literal import literal
from logger.console.screens.balance_check_screen import EMPTY_SHARE
from logger.console.shift_rows import (
    STANDING_MARKS,
    CheckWeightRow,
    PlannedRow,
    Task,
    planned_of,
    tasks_of,
    weights_of,
)
from logger.console.words import mass_figure, mass_line
from logger.core.run.commands import Refused
from logger.core.shift.zero import LEAST_S, ZeroWatch
from logger.service.client import Reply

WATCHED_S = LEAST_S + 1.5
OPEN = ("planned", "started")
DONE_HERE = ("air", "zero", "balance", "bag", "filter", "drill")


async def shift(talk: Talk, rest: str) -> None:
    """What is due; with a task's word behind it, does that task."""
    if rest in DONE_HERE:
        await _do(talk, rest)
    elif rest:
        talk.say(f"{literal(rest, 20)} is not done here; these are: {', '.join(DONE_HERE)}.")
    else:
        await _due(talk)


async def _due(talk: Talk) -> None:
    reply = await talk.client.query("shift")
    if not talk.answer(reply):
        return
    for task in tasks_of(reply.data):
        talk.say(_told(task))


def _told(task: Task) -> str:
    """Standing, title and how it stands; what to do where something is to be done."""
    standing = spoken(STANDING_MARKS.get(task.standing, task.standing))
    told = f"{standing}: {task.title}. {task.text.rstrip('.')}."
    if task.standing not in ("due", "failed"):
        return told
    return f"{told} Type: shift {task.task}." if task.task in DONE_HERE else f"{told} {task.how}"


async def _do(talk: Talk, name: str) -> None:
    if not await talk.named():
        talk.say(NOTHING_SENT)
    elif name == "zero":
        await _zero(talk)
    elif name == "balance":
        await _balance(talk)
    else:
        form, send = _entries(talk)[name]
        await talk.ask(form, send)


def _entries(talk: Talk) -> dict[str, tuple[Form, Callable[[Values], Awaitable[Reply]]]]:
    command, by = talk.client.command, talk.operator

    def part(name: str) -> Callable[[Values], Awaitable[Reply]]:
        return lambda values: shift_forms.enter(command, "part_changed", {"part": name, **values}, by)

    return {
        "air": (shift_forms.AIR, lambda values: shift_forms.enter_air(command, values, by)),
        "bag": (shift_forms.BAG, part("bag")),
        "filter": (shift_forms.FILTER, part("filter")),
        "drill": (
            shift_forms.DRILL,
            lambda values: shift_forms.enter(command, "restore_drilled", {**values}, by),
        ),
    }


async def _zero(talk: Talk) -> None:
    """Watches the transducer for some seconds, then enters the mean."""
    talk.say("Switch the suction off by hand. Leave hoses and lid as in a run. Then press Enter.")
    if (await talk.next_line()).strip() == BACK:
        return
    watch, end_s = ZeroWatch(), time.monotonic() + WATCHED_S
    while time.monotonic() < end_s:
        snapshot = talk.snapshot
        if snapshot is not None and talk.answering:
            free = snapshot.run is None or snapshot.run.result is not None
            watch.add(time.monotonic(), snapshot.pressure.dp_pa, free)
        await asyncio.sleep(0.1)
    try:
        entry = {"zero_pa": watch.taken_pa()}
    except Refused as refusal:
        talk.answer(Reply(False, str(refusal)))
        return
    talk.answer(await shift_forms.enter(talk.client.command, "pressure_zeroed", entry, talk.operator))


# --- the balance against its check weights --------------------------------------------------------------


async def _balance(talk: Talk) -> None:
    """Each weight of the bench file: empty pan, weight, entry."""
    reply = await talk.client.query("shift")
    weights = weights_of(reply.data)
    if not weights:
        said = "The bench file names no check weight: add one under [[checks.weights]]."
        talk.answer(Reply(False, said if reply.ok else reply.text))
        return
    for weight in weights:
        zero_g = await _weighed(talk, "Clear the pan", partial(_empty, weight))
        if zero_g is None:
            return
        text = f"Put check weight {literal(weight.id, 30)}, {weight.mass_g:g} g, on the pan with its tongs"
        reading_g = await _weighed(talk, text, partial(_on, weight))
        if reading_g is None:
            return
        entry = {"weight_id": weight.id, "zero_g": zero_g, "reading_g": reading_g}
        if not talk.answer(
            await shift_forms.enter(talk.client.command, "balance_checked", entry, talk.operator)
        ):
            return


def _empty(weight: CheckWeightRow, mass_g: float) -> str:
    return "" if abs(mass_g) <= EMPTY_SHARE * weight.mass_g else "clear the pan first"


def _on(weight: CheckWeightRow, mass_g: float) -> str:
    return "" if mass_g >= (1 - EMPTY_SHARE) * weight.mass_g else f"put the {weight.mass_g:g} g weight on"


async def _weighed(talk: Talk, text: str, why_not: Callable[[float], str]) -> float | None:
    """A stable reading that the person has taken with Enter; None when the person went back."""
    talk.say(f"{text}, wait until it is stable, then press Enter.")
    while True:
        if (await talk.next_line()).strip() == BACK:
            talk.say(NOTHING_SENT)
            return None
        mass = None if talk.snapshot is None else talk.snapshot.mass
        if mass is None or not talk.answering or mass.value_g is None or not mass.stable:
            talk.say("The balance is not stable: wait, then press Enter once more.")
        elif why := why_not(mass.value_g):
            talk.say(f"The balance shows {mass_figure(mass)} g: {why}, then press Enter.")
        else:
            talk.say(spoken(mass_line(mass)))
            return mass.value_g


# --- worklist -------------------------------------------------------------------------------------------


async def worklist(talk: Talk, rest: str) -> None:
    """Planned samples; with an item's number or a sample behind it, begins that run."""
    reply = await talk.client.query("worklist")
    if not talk.answer(reply):
        return
    rows = [row for row in planned_of(reply.data) if row.state in (*OPEN, "running")]
    if rest:
        await _begin(talk, rest, rows)
        return
    for row in rows:
        talk.say(_row(row))
    if not rows:
        talk.say("No sample is planned. Import some: lastgrain worklist import FILE")
    else:
        talk.say(f"To begin one: worklist and its item or sample, for example worklist {rows[0].item}.")


def _row(row: PlannedRow) -> str:
    parts = [f"Item {row.item}: {literal(row.sample_id, 64)}", f"priority {row.priority}", row.state]
    named = (("lot", row.lot), ("method", row.method_id), ("point", row.point), ("due", row.due))
    parts += [f"{name} {literal(value, 40)}" for name, value in named if value]
    return ", ".join(parts) + f". {literal(row.text, 200)}"


async def _begin(talk: Talk, which: str, rows: list[PlannedRow]) -> None:
    very = [row for row in rows if row.sample_id == which]
    very = very or [row for row in rows if which.isdecimal() and row.item == int(which[:9])]
    snapshot = talk.snapshot
    if len(very) != 1:
        many = f"is planned {len(very)} times: give its item" if very else "is not planned"
        talk.answer(Reply(False, f"{literal(which, 40)} {many}."))
    elif very[0].state not in OPEN:
        talk.answer(Reply(False, f"Item {very[0].item} is {very[0].state}."))
    elif snapshot is None or not talk.answering or "start" not in snapshot.can:
        talk.answer(Reply(False, "A run is on the bench: finish it first."))
    else:
        await run_talk.new_run(talk, very[0].fill())
