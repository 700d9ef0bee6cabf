"""What a command in lines needs: to say something, to ask something, and the service."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace

from logger.console import forms
from logger.console.forms import FieldSpec, Form
from logger.console.literal import literal
from logger.core.snapshot import Snapshot
from logger.service.client import QueryReply, Reply, ServiceClient

Values = dict[str, str]
Send = Callable[[Values], Awaitable[Reply]]
NOTHING_SENT = "Nothing was sent."
BACK = "back"


@dataclass(slots=True)
class Talk:
    """`say` writes a line, `next_line` waits for one, `hidden` keeps what is typed off the screen."""

    client: ServiceClient
    say: Callable[[str], None]
    next_line: Callable[[], Awaitable[str]]
    hidden: Callable[[], AbstractContextManager[None]]
    operator: str = ""
    last_method: str = ""

    @property
    def snapshot(self) -> Snapshot | None:
        """The newest picture."""
        return self.client.watch().snapshot

    @property
    def answering(self) -> bool:
        """Whether the service does."""
        return self.client.watch().answering

    def say_all(self, lines: list[str]) -> None:
        """Lines that are not empty."""
        for line in lines:
            if line.strip():
                self.say(line)

    def answer(self, reply: Reply | QueryReply) -> bool:
        """Says an answer; whether it was a yes."""
        if reply.text:
            self.say(literal(reply.text) if reply.ok else f"NOT DONE: {literal(reply.text)}")
        return reply.ok

    async def command(self, name: str, **args: str) -> None:
        """Sends a command and says the answer."""
        self.answer(await self.client.command(name, **args))

    async def asked(self, form: Form, rest: str = "") -> Values | None:
        """The form's values: from the line itself, else asked for one by one. None when the person went back."""
        values = forms.from_line(form, rest)
        self.say_all(list(form.lines))
        for field in form.fields:
            if not values.get(field.name):
                value = await self.one(field)
                if value is None:
                    self.say(NOTHING_SENT)
                    return None
                values[field.name] = value
        if form.confirm and not await self.sure(form.confirm):
            self.say(NOTHING_SENT)
            return None
        return values

    async def ask(self, form: Form, send: Send, rest: str = "") -> bool:
        """Asks for a form's values, sends them and says the answer."""
        values = await self.asked(form, rest) if form.fields else None
        return values is not None and self.answer(await send(values))

    async def one(self, field: FieldSpec) -> str | None:
        """One value; None for `back`."""
        initial = f" [{literal(field.initial, 40)}]" if field.initial else ""
        hint = initial or ("" if field.required else " (optional)")
        while True:
            self.say(f"{field.label}{hint}:")
            value = await self._typed(field)
            if value == BACK:
                return None
            if value or not field.required:
                return value[: forms.FIELD_LIMIT]
            self.say(f"It is needed. Type {BACK} to leave.")

    async def _typed(self, field: FieldSpec) -> str:
        if not field.secret:
            return (await self.next_line()).strip() or field.initial
        with self.hidden():
            return await self.next_line()

    async def sure(self, question: str) -> bool:
        """A question that only yes answers."""
        self.say(f"{question} Type yes to go on.")
        return (await self.next_line()).strip().lower() == "yes"

    async def named(self) -> bool:
        """Whether it is known who works here; asks once."""
        if not self.operator:
            self.operator = await self.one(FieldSpec("by", "your name")) or ""
        return bool(self.operator)


def filled(form: Form, known: Values) -> Form:
    """The form with these values standing in it."""
    return replace(
        form,
        fields=tuple(replace(each, initial=known.get(each.name) or each.initial) for each in form.fields),
    )
