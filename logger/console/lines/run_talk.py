"""The bench's own commands in lines: the same table of keys as the drawn console."""

from __future__ import annotations

from logger.console import forms
from logger.console.forms import FieldSpec, Form
from logger.console.keys import NOTE_KINDS, NOTE_TEXTS, USES
from logger.console.line_report import figures
from logger.console.lines.talk import NOTHING_SENT, Send, Talk, Values, filled
from logger.console.literal import literal
from logger.console.shift_rows import PlannedRow, planned_of, sieves_of
from logger.console.words import broker_line, controls_line, link_line
from logger.core.run.repeats import NEEDS_REASON
from logger.core.snapshot import MethodView, Snapshot

PLAIN = {"i": ("sieve_care", {"in_order": True}), "d": ("lid_deposits", {})}
"""Keys that send a command as it is."""


async def use(talk: Talk, key: str, rest: str, snapshot: Snapshot) -> None:
    """Does what the key is for; it was found to be for something now."""
    if key in NOTE_TEXTS:
        await talk.command("note", kind=NOTE_KINDS[key], text=NOTE_TEXTS[key])
    elif key in PLAIN:
        name, args = PLAIN[key]
        talk.answer(await talk.client.command(name, **args))
    elif key == "v":
        say_moment(talk, snapshot)
    elif key == "e":
        for event in snapshot.events:
            talk.say(f"{literal(event.utc, 30)} {literal(event.text)}")
    elif key == "n":
        following = snapshot.next_run
        await new_run(talk, {} if following is None or following.complete else forms.fill_of(following))
    elif key == "k" and "take_controls" not in snapshot.can:
        await talk.command("release_controls")
    else:
        await talk.ask(*_form(talk, key, snapshot), rest)


def say_moment(talk: Talk, snapshot: Snapshot) -> None:
    """All figures of the moment, links, plant, controls."""
    if not talk.answering:
        talk.say("The service does not answer. These are the last figures, not those of now:")
    talk.say_all(figures(snapshot))
    for link in snapshot.links:
        talk.say(f"{link_line(link)} old. {literal(link.text)}")
    talk.say(f"{broker_line(snapshot.broker)}. {controls_line(snapshot)}.")


def _form(talk: Talk, key: str, snapshot: Snapshot) -> tuple[Form, Send]:
    send = talk.client.command
    if key == "c":
        return _cautions(talk, snapshot)
    if key == "w":
        return forms.TYPE_WEIGHT, lambda values: forms.type_weight(send, values)
    if key == "o":
        return forms.SIEVE_FINDING, lambda values: send("sieve_care", **values)
    if key == "m":
        return forms.NOTE, lambda values: send("note", kind=NOTE_KINDS["m"], **values)
    if key == "k":
        form = forms.take_controls(talk.operator, snapshot.controls_held_by)
        return form, lambda values: send("take_controls", **values)
    name = next(each.needs for each in USES if each.key == key)
    return forms.REASONS[name], lambda values: send(name, **values)


def _cautions(talk: Talk, snapshot: Snapshot) -> tuple[Form, Send]:
    for number, text in enumerate(snapshot.cautions, 1):
        talk.say(f"{number}. {literal(text, 600)}")
    due = "acknowledge" in snapshot.can
    name = (snapshot.run.operator_id if snapshot.run else "") or talk.operator
    fields = (FieldSpec("name", "your name", initial=name),) if due else ()
    return Form("Cautions", (), fields, ""), lambda values: talk.client.command("acknowledge", **values)


# --- a new run ------------------------------------------------------------------------------------------


async def new_run(talk: Talk, fill: Values) -> None:
    """Asks for method and sample; a planned sample fills in the rest. `fill` holds what is known already."""
    snapshot = talk.snapshot
    if snapshot is None or not snapshot.methods:
        talk.say("No method is in use at this bench. Add one first.")
        return
    known = await talk.client.query("new_run")
    method = await _method(talk, snapshot.methods, fill.get("method_id") or talk.last_method)
    sample = (
        None
        if method is None
        else await talk.one(FieldSpec("sample_id", "sample", fill.get("sample_id", "")))
    )
    if method is None or sample is None:
        talk.say(NOTHING_SENT)
        return
    plan = _plan(planned_of(known.data, "planned"), sample) if sample != fill.get("sample_id") else None
    if plan is not None:
        talk.say(f"Planned as item {plan.item}: filled in.")
        fill = plan.fill()
        method = next((each for each in snapshot.methods if each.id == plan.method_id), method)
    fill = {**fill, "sample_id": sample, "sieve_id": fill.get("sieve_id") or _sieve(known.data, method, fill)}
    await _rest(talk, method, fill)


async def _rest(talk: Talk, method: MethodView, fill: Values) -> None:
    form = forms.new_run(fill.get("operator_id") or talk.operator, fill)
    rest = Form(form.title, (), form.fields[1:], form.enter)
    values = await talk.asked(filled(rest, fill))
    if values is None:
        return
    start = {"method_id": method.id, "sample_id": fill["sample_id"], **values}
    reply = await talk.client.command("start", **start)
    if not reply.ok and NEEDS_REASON in reply.text:
        reason = await talk.asked(forms.repeat(reply.text))
        if reason is None:
            return
        reply = await talk.client.command("start", **start, repeat_reason=reason["reason"])
    if talk.answer(reply):
        talk.operator, talk.last_method = values["operator_id"], method.id


async def _method(talk: Talk, methods: tuple[MethodView, ...], wanted: str) -> MethodView | None:
    """Says the methods and asks which; a number that is none is asked again."""
    for number, method in enumerate(methods, 1):
        talk.say(f"{number}: {literal(method.title, 80)}, {literal(method.summary, 120)}")
    place = next((number for number, each in enumerate(methods, 1) if each.id == wanted), 1)
    while True:
        chosen = await talk.one(FieldSpec("method", f"method, 1 to {len(methods)}", str(place)))
        if chosen is None:
            return None
        if chosen.isdecimal() and 1 <= int(chosen[:9]) <= len(methods):
            return methods[int(chosen) - 1]
        talk.say(f"There is no method {literal(chosen, 20)}.")


def _plan(planned: list[PlannedRow], sample_id: str) -> PlannedRow | None:
    """The plan of this sample, where there is exactly one."""
    found = [row for row in planned if row.sample_id == sample_id and row.state != "running"]
    return found[0] if len(found) == 1 else None


def _sieve(answer: object, method: MethodView, fill: Values) -> str:
    """The one sieve in the register that fits."""
    wanted = fill.get("aperture_um", "")
    apertures = (float(wanted),) if wanted else method.apertures_um
    fitting = [
        each.id
        for each in sieves_of(answer)
        if each.aperture_um in apertures and abs(each.frame_mm - method.frame_mm) < 0.5
    ]
    return fitting[0] if len(fitting) == 1 else ""
