"""A form: a few lines of text, a few fields, Enter to go on, Escape to leave.

Made for barcode scanners, which type fast and end with Enter: Enter goes to the next field, and sends
from the last one. A refusal is shown in the form, and what was typed stays.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, Static

from logger.console.console import KeyLabels
from logger.console.forms import FieldSpec, Form
from logger.console.literal import literal
from logger.console.panels.ink import BAD, STRONG
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.confirm_screen import ConfirmScreen
from logger.console.screens.scan_field import ScanField
from logger.service.client import Reply

Values = dict[str, str]
Send = Callable[[Values], Awaitable[Reply]]


class FormScreen(BoardScreen):
    """Shows a form and sends it. Dismisses itself when the service has said yes."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("ctrl+s", "send", show=False),
        Binding("down", "app.focus_next", show=False),
        Binding("up", "app.focus_previous", show=False),
    ]

    def __init__(self, form: Form, send: Send) -> None:
        super().__init__(classes="form")
        self.form = form
        self.heading = form.title
        self.about = form.lines
        self._send_values = send
        self._busy = False

    def compose(self) -> ComposeResult:
        """Title, text, fields, error, keys."""
        yield from self.frame()
        yield Static(Content.styled(self.form.title, STRONG), markup=False, id="title", classes="body")
        yield from self.above()
        for field in self.form.fields:
            with Horizontal(classes="field body"):
                mark = "" if field.required else " (optional)"
                yield Static(f"{field.label}{mark}", markup=False, classes="label")
                yield ScanField(field.initial, field.example, id=f"field-{field.name}", secret=field.secret)
        yield Static("", markup=False, id="error", classes="body")
        yield self.key_line()

    def above(self) -> Iterator[Widget]:
        """The text above the fields."""
        if self.form.lines:
            with VerticalScroll(id="explain", classes="body", can_focus=False):
                yield Static("\n".join(self.form.lines), markup=False)

    def key_labels(self) -> KeyLabels:
        """The keys of this form. A question mark is text here, so that help has another key."""
        send = [("Ctrl+S", "send now")] if len(self.form.fields) > 1 else []
        return [("Enter", self.form.enter), *send, ("F1", "help"), ("Esc", "back, nothing is sent")]

    def values(self) -> Values:
        """What stands in the fields, spaces around it taken off."""
        return {each.name: self._input(each).value.strip() for each in self.form.fields}

    def _input(self, field: FieldSpec) -> Input:
        return self.query_one(f"#field-{field.name}", Input)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter: the next field, or send from the last one."""
        event.stop()
        self.entered(event.input)

    def on_scan_field_refused(self, event: ScanField.Refused) -> None:
        """What was not taken is said."""
        self.say(event.sentence)

    def entered(self, field: Input) -> None:
        """Goes on from this field. (Textual calls `on_` methods of all classes, so that is not overridden.)"""
        names = [f"field-{each.name}" for each in self.form.fields]
        place = names.index(field.id or "")
        if self.form.fields[place].required and not field.value.strip():
            self.say(f"{self.form.fields[place].label} is needed.")
        elif place + 1 < len(names):
            self._input(self.form.fields[place + 1]).focus()
        else:
            self.action_send()

    def action_leave(self) -> None:
        """Back without sending."""
        self.dismiss()

    def action_send(self) -> None:
        """Sends when everything needed is there, after the question if there is one."""
        missing = next((f for f in self.form.fields if f.required and not self.values()[f.name]), None)
        if missing is not None:
            self._input(missing).focus()
            self.say(f"{missing.label} is needed.")
        elif self._busy:
            return
        elif self.form.confirm:
            self.app.push_screen(ConfirmScreen(self.form.confirm), self._confirmed)
        else:
            self._confirmed(True)

    def _confirmed(self, sure: bool | None) -> None:
        if sure and not self._busy:
            self._busy = True
            self.run_worker(self._send(), name="send form")

    async def _send(self) -> None:
        reply = await self._send_values(self.values())
        self._busy = False
        if reply.ok:
            self.console.say(reply)
            self.dismiss()
        else:
            self.say(reply.text)

    def say(self, sentence: str) -> None:
        """Shows what is wrong."""
        for field in self.query(ScanField):
            field.stay()
        self.query_one("#error", Static).update(Content.styled(f"✗ {literal(sentence)}", BAD))
