"""Before the first picture: what is waited for."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from logger.console.literal import literal
from logger.console.panels.ink import STRONG, page


class WaitScreen(Screen[None]):
    """Says why there is nothing to see yet."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("q,Q,escape", "app.leave", show=False)]

    def compose(self) -> ComposeResult:
        """One text."""
        yield Static("", markup=False, id="wait")

    def on_mount(self) -> None:
        """Something at once."""
        self.say("")

    def say(self, problem: str) -> None:
        """Shows what is missing."""
        why = f"({literal(problem, 200)})" if problem else ""
        lines = [
            Content.styled("Waiting for the bench's service", STRONG),
            Content(why),
            Content("q leaves the console"),
        ]
        self.query_one("#wait", Static).update(page(lines))
