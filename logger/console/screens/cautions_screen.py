"""The cautions of the trade, read to their end before they are acknowledged by name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from logger.console.console import KeyLabels
from logger.console.forms import FieldSpec, Form
from logger.console.literal import literal
from logger.console.screens.form_screen import FormScreen, Send


class CautionsScreen(FormScreen):
    """Lists the cautions; asks for the name only when they are due."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "page(1, False)", show=False, priority=True),
        Binding("up", "page(-1, False)", show=False, priority=True),
        Binding("pagedown", "page(1, True)", show=False, priority=True),
        Binding("pageup", "page(-1, True)", show=False, priority=True),
    ]

    def __init__(self, cautions: Sequence[str], due: bool, name: str, send: Send) -> None:
        fields = (FieldSpec("name", "your name", initial=name),) if due else ()
        enter = "read on, then acknowledge" if due else "back"
        super().__init__(Form("CAUTIONS", (), fields, enter), send)
        self._cautions = cautions
        self._due = due

    def above(self) -> Iterator[Widget]:
        """The cautions, numbered."""
        with VerticalScroll(id="explain", classes="body", can_focus=False):
            for number, text in enumerate(self._cautions, 1):
                yield Static(f"{number}. {literal(text, 600)}", markup=False, classes="caution")
            if not self._cautions:
                yield Static("No cautions are set for this bench or method.", markup=False)

    def key_labels(self) -> KeyLabels:
        """Reading keys, and what Enter does."""
        return [("Enter", self.form.enter), ("↑ ↓ PgUp PgDn", "read"), ("F1", "help"), ("Esc", "back")]

    def action_page(self, direction: int, far: bool) -> None:
        """Scrolls the text while the name keeps the focus."""
        area = self.query_one("#explain", VerticalScroll)
        rows = max(1, area.size.height - 1) if far else 1
        area.scroll_relative(y=direction * rows, animate=False)

    def entered(self, field: Input) -> None:
        """Enter turns the page until the end was seen; then it acknowledges."""
        area = self.query_one("#explain", VerticalScroll)
        if area.scroll_offset.y < area.max_scroll_y:
            self.action_page(1, True)
        else:
            super().entered(field)

    def key_enter(self) -> None:
        """Without a name field Enter goes back."""
        if not self._due:
            self.dismiss()
