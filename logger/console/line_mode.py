"""The console in plain lines: says what happens, takes a command a line. For slow links and screen readers."""

from __future__ import annotations

import asyncio
import contextlib
import os
import threading
import time
from collections.abc import Awaitable, Callable, Iterator, Mapping
from typing import TextIO

from logger.console import forms
from logger.console.forms import FieldSpec, Form
from logger.console.keys import NOTE_KINDS, NOTE_TEXTS, USES, KeyUse, applies, step
from logger.console.line_report import Reporter, figures, spoken
from logger.console.literal import literal
from logger.console.places import PLACES
from logger.console.words import broker_line, controls_line, link_line
from logger.core.snapshot import Snapshot
from logger.service.client import Reply, ServiceClient

LINE_LIMIT = 2000
ENTER_AFTER_S = 0.5
OVER = ("awaiting_review", "closed", "aborted", "interrupted", "invalid")
_PLAIN = str.maketrans({"±": "+/-", "µ": "u", "×": "x", "…": "...", "–": "-", "°": "deg"})
Values = dict[str, str]
Lines = asyncio.Queue[str | None]


def lines_of(descriptor: int, encoding: str) -> Lines:
    """Lines as they come, None at the end of input.

    Read in a thread that never holds up the exit, and below Python's own buffer, whose lock a thread
    left waiting would keep.
    """
    queue: Lines = asyncio.Queue()
    loop = asyncio.get_running_loop()

    def read() -> None:
        with contextlib.suppress(OSError, RuntimeError):
            for line in _split(descriptor, encoding):
                loop.call_soon_threadsafe(queue.put_nowait, line)
        with contextlib.suppress(RuntimeError):
            loop.call_soon_threadsafe(queue.put_nowait, None)

    threading.Thread(target=read, name="read lines", daemon=True).start()
    return queue


def _split(descriptor: int, encoding: str) -> Iterator[str]:
    """Whole lines, what follows the last one included; a line without end is cut."""
    rest = b""
    while data := os.read(descriptor, 4096):
        *lines, rest = (rest + data).split(b"\n")
        for line in lines:
            yield line.decode(encoding, "replace")
        if len(rest) > LINE_LIMIT:
            yield rest[:LINE_LIMIT].decode(encoding, "replace")
            rest = b""
    if rest:
        yield rest.decode(encoding, "replace")


class LeaveError(Exception):
    """The input ended or the person left."""


class LineMode:
    """One watcher that speaks in lines."""

    def __init__(
        self, client: ServiceClient, out: TextIO, operator: str, *, ascii_only: bool = False
    ) -> None:
        self._client = client
        self._out = out
        self._operator = operator
        self._ascii = ascii_only
        self._reporter = Reporter()
        self._asked_at_s = time.monotonic()
        self._asked: object = None
        self._lines: Lines = asyncio.Queue()
        self._answering = asyncio.Event()
        self._end: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    def say(self, text: str) -> None:
        """Writes a line, in plain letters where the terminal knows no others."""
        shown = spoken(text)
        if self._ascii:
            shown = shown.translate(_PLAIN).encode("ascii", "backslashreplace").decode("ascii")
        try:
            print(shown, file=self._out, flush=True)
        except (OSError, ValueError):
            self.leave(0)

    def leave(self, code: int) -> None:
        """Ends `run` with this exit code."""
        if not self._end.done():
            self._end.set_result(code)

    async def run(self, lines: Lines, start: Mapping[str, str] | None = None) -> int:
        """Until the input ends, the person leaves, or the run that `start` asked for is over."""
        self._lines = lines
        tasks = [
            asyncio.create_task(self._client.run(), name="service client"),
            asyncio.create_task(self._report(start is not None), name="report"),
            asyncio.create_task(self._obey(start), name="obey"),
        ]
        for task in tasks:
            task.add_done_callback(lambda _: self.leave(0))
        await self._end
        for task in tasks:
            task.cancel()
        ended = await asyncio.gather(*tasks, return_exceptions=True)
        for each in ended:
            if isinstance(each, Exception) and not isinstance(each, LeaveError):
                raise each
        return self._end.result()

    async def _report(self, until_over: bool) -> None:
        seen_running = False
        async for watch in self._client.changes():
            for line in self._reporter.take(watch, time.monotonic()):
                self.say(line)
            if watch.snapshot is None or not watch.answering:
                continue
            self._answering.set()
            asked = (watch.snapshot.state, watch.snapshot.instruction.key)
            if asked != self._asked:
                self._asked, self._asked_at_s = asked, time.monotonic()
            over = watch.snapshot.state in OVER
            seen_running = seen_running or (watch.snapshot.run is not None and not over)
            if until_over and seen_running and over:
                self.leave(0)

    async def _obey(self, start: Mapping[str, str] | None) -> None:
        if start is not None:
            await self._start_at_once(start)
        self.say("Type help for the commands. An empty line does what is asked now.")
        while True:
            await self._do((await self._next()).strip())

    async def _start_at_once(self, start: Mapping[str, str]) -> None:
        await self._answering.wait()
        reply = await self._client.command("start", **start)
        self._answer(reply)
        if not reply.ok:
            self.leave(3)

    async def _next(self) -> str:
        line = await self._lines.get()
        if line is None:
            raise LeaveError
        return line.rstrip("\r\n")

    @property
    def _snapshot(self) -> Snapshot | None:
        return self._client.watch().snapshot

    async def _do(self, line: str) -> None:
        word, _, rest = line.partition(" ")
        if not word:
            await self._do_step()
            return
        use = next((each for each in USES if word.lower() in (each.key, each.word)), None)
        if use is None:
            self.say(f"{literal(word, 40)} is no command. Type help for the commands.")
        else:
            await self._use(use, rest.strip())

    async def _do_step(self) -> None:
        snapshot = self._snapshot
        now = step(snapshot.can) if snapshot and self._client.watch().answering else None
        if now is None:
            self.say("Nothing is asked of the keyboard now.")
        elif time.monotonic() - self._asked_at_s < ENTER_AFTER_S:
            self.say("That came before the instruction could be read. Once more, please.")
        elif now[0] in ("accept_weight", "close"):
            await self._command(now[0])
        else:
            await self._use(next(each for each in USES if each.key == now[0]), "")

    async def _use(self, use: KeyUse, rest: str) -> None:
        snapshot = self._snapshot
        if use.key == "q":
            raise LeaveError
        if use.key == "?":
            self._help()
        elif snapshot is None:
            self.say("The service does not answer.")
        elif use.key in "evcg" or applies(use, snapshot.can):
            await self._use_now(use.key, rest, snapshot)
        else:
            self.say(f"{use.label} is not possible now.")

    async def _use_now(self, key: str, rest: str, snapshot: Snapshot) -> None:
        if key in NOTE_TEXTS:
            await self._command("note", kind=NOTE_KINDS[key], text=NOTE_TEXTS[key])
        elif key == "i":
            await self._command("sieve_care", in_order=True)
        elif key == "d":
            await self._command("lid_deposits")
        elif key == "v":
            self._say_all(snapshot)
        elif key == "g":
            for place in PLACES:
                self.say(f"{place.label}: {place.help}")
        elif key == "e":
            for event in snapshot.events:
                self.say(f"{literal(event.utc, 30)} {literal(event.text)}")
        elif key == "k" and "take_controls" not in snapshot.can:
            await self._command("release_controls")
        else:
            await self._ask(*self._form(key, snapshot), rest)

    def _form(self, key: str, snapshot: Snapshot) -> tuple[Form, Callable[[Values], Awaitable[Reply]]]:
        send = self._client.command
        if key == "n":
            return self._new_run(snapshot)
        if key == "c":
            return self._cautions(snapshot)
        if key == "w":
            return forms.TYPE_WEIGHT, lambda values: forms.type_weight(send, values)
        if key == "o":
            return forms.SIEVE_FINDING, lambda values: send("sieve_care", **values)
        if key == "m":
            return forms.NOTE, lambda values: send("note", kind=NOTE_KINDS["m"], **values)
        if key == "k":
            form = forms.take_controls(self._operator, snapshot.controls_held_by)
            return form, lambda values: send("take_controls", **values)
        name = next(each.needs for each in USES if each.key == key)
        return forms.REASONS[name], lambda values: send(name, **values)

    def _new_run(self, snapshot: Snapshot) -> tuple[Form, Callable[[Values], Awaitable[Reply]]]:
        for number, method in enumerate(snapshot.methods, 1):
            self.say(f"{number}: {literal(method.title, 80)}, {literal(method.summary, 120)}")
        following = snapshot.next_run
        fill = {} if following is None or following.complete else forms.fill_of(following)
        form = forms.new_run(self._operator, fill)
        ids = [method.id for method in snapshot.methods]
        wanted = ids.index(fill["method_id"]) + 1 if fill.get("method_id") in ids else 1
        which = FieldSpec("method", f"method, 1 to {len(ids)}", initial=str(wanted))

        async def send(values: Values) -> Reply:
            number = values.pop("method")
            if not number.isdecimal() or not 1 <= int(number) <= len(snapshot.methods):
                return Reply(False, f"There is no method {literal(number, 20)}.")
            return await self._client.command(
                "start", method_id=snapshot.methods[int(number) - 1].id, **values
            )

        return Form(form.title, form.lines, (which, *form.fields), form.enter), send

    def _cautions(self, snapshot: Snapshot) -> tuple[Form, Callable[[Values], Awaitable[Reply]]]:
        for number, text in enumerate(snapshot.cautions, 1):
            self.say(f"{number}. {literal(text, 600)}")
        due = "acknowledge" in snapshot.can
        name = (snapshot.run.operator_id if snapshot.run else "") or self._operator
        fields = (FieldSpec("name", "your name", initial=name),) if due else ()
        return Form("Cautions", (), fields, ""), lambda values: self._client.command("acknowledge", **values)

    async def _ask(self, form: Form, send: Callable[[Values], Awaitable[Reply]], rest: str) -> None:
        """Asks for what is not given on the line; `back` leaves."""
        if not form.fields:
            return
        values = forms.from_line(form, rest)
        for text in form.lines:
            self.say(text)
        for field in form.fields:
            if not values.get(field.name):
                value = await self._answer_to(field)
                if value is None:
                    self.say("Nothing was sent.")
                    return
                values[field.name] = value
        if form.confirm and await self._refused(form.confirm):
            self.say("Nothing was sent.")
            return
        self._answer(await send(values))

    async def _answer_to(self, field: FieldSpec) -> str | None:
        hint = (
            f" [{literal(field.initial, 40)}]" if field.initial else "" if field.required else " (optional)"
        )
        while True:
            self.say(f"{field.label}{hint}:")
            value = (await self._next()).strip() or field.initial
            if value == "back":
                return None
            if value or not field.required:
                return value[: forms.FIELD_LIMIT]
            self.say("It is needed. Type back to leave.")

    async def _refused(self, question: str) -> bool:
        self.say(f"{question} Type yes to go on.")
        return (await self._next()).strip().lower() != "yes"

    async def _command(self, name: str, **args: str | bool) -> None:
        self._answer(await self._client.command(name, **args))

    def _answer(self, reply: Reply) -> None:
        self.say(literal(reply.text) if reply.ok else f"NOT DONE: {literal(reply.text)}")

    def _say_all(self, snapshot: Snapshot) -> None:
        for line in figures(snapshot):
            self.say(line)
        for link in snapshot.links:
            self.say(f"{link_line(link)} old. {literal(link.text)}")
        self.say(f"{broker_line(snapshot.broker)}. {controls_line(snapshot)}.")

    def _help(self) -> None:
        for use in USES:
            words = "All figures of the moment." if use.key == "v" else use.help
            self.say(f"{use.word} or {use.key}: {words if use.key != '?' else 'These lines.'}")
        self.say("Reasons may follow on the line (hold sieve torn). back leaves a question.")
