"""One question, yes or no. Enter alone never says yes."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Static

from logger.console.panels.bottom import key_rows
from logger.console.panels.ink import STRONG, page


class ConfirmScreen(ModalScreen[bool]):
    """Dismisses with the answer."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y,Y", "answer(True)", show=False),
        Binding("n,N,escape", "answer(False)", show=False),
    ]

    def __init__(self, question: str, yes: str = "yes", no: str = "no, go back") -> None:
        super().__init__()
        self._question = question
        self._labels = [("y", yes), ("n", no)]

    def compose(self) -> ComposeResult:
        """The question and its two keys."""
        with Vertical(id="question"):
            yield Static(Content.styled(self._question, STRONG), markup=False)
            yield Static("", markup=False)
            yield Static(page(key_rows(self._labels, 60)), markup=False)

    def action_answer(self, sure: bool) -> None:
        """Yes or no."""
        self.dismiss(sure)
