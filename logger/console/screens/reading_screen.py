"""A page to read: scrolls, goes away with Escape, Enter or its own key."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Static

from logger.console.console import KeyLabels
from logger.console.panels.ink import STRONG
from logger.console.screens.scrolled_screen import ScrolledScreen


class ReadingScreen(ScrolledScreen):
    """Subclasses say `text`."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "leave", show=False)]

    def compose(self) -> ComposeResult:
        """Heading, text, keys."""
        yield from self.frame()
        yield Static(Content.styled(self.heading, STRONG), markup=False, id="title", classes="body")
        yield from self.area()
        yield self.key_line()

    def key_labels(self) -> KeyLabels:
        """How a page is read."""
        return [("↑ ↓ PgUp PgDn", "read"), ("?", "help"), ("Esc", "back")]
