"""A page to read: scrolls, goes away with Escape, Enter or its own key."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from logger.console.console import KeyLabels
from logger.console.panels.ink import STRONG
from logger.console.screens.board_screen import BoardScreen


class ReadingScreen(BoardScreen):
    """Subclasses fill `text()`."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,q,Q", "leave", show=False),
        Binding("down", "read(1)", show=False),
        Binding("up", "read(-1)", show=False),
        Binding("pagedown,space", "read(12)", show=False),
        Binding("pageup", "read(-12)", show=False),
    ]
    AUTO_FOCUS = ""

    def compose(self) -> ComposeResult:
        """Heading, text, keys."""
        yield from self.frame()
        yield Static(Content.styled(self.heading, STRONG), markup=False, id="title", classes="body")
        with VerticalScroll(id="text", classes="body", can_focus=False):
            yield Static(markup=False, id="words")
        yield self.key_line()

    def key_labels(self) -> KeyLabels:
        """How a page is read."""
        return [("↑ ↓ PgUp PgDn", "read"), ("?", "help"), ("Esc", "back")]

    def text(self, width: int) -> Content:
        """The page."""
        raise NotImplementedError

    def fill(self) -> None:
        """Shows the page as it is now."""
        area = self.query_one("#text", VerticalScroll)
        self.query_one("#words", Static).update(self.text(max(10, area.size.width - 2)))

    def action_leave(self) -> None:
        """Back."""
        self.dismiss()

    def action_read(self, rows: int) -> None:
        """Scrolls."""
        self.query_one("#text", VerticalScroll).scroll_relative(y=rows, animate=False)
