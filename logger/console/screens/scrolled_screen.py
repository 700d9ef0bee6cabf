"""A screen with one text or chart that fills the room there is: scrolls, goes away, is drawn anew at another size."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.events import Resize
from textual.widget import Widget
from textual.widgets import Static

from logger.console.screens.board_screen import BoardScreen


class ScrolledScreen(BoardScreen):
    """Subclasses yield `area()` in their `compose` and say its `text`; `fill` shows it as it is now."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,q,Q", "leave", show=False),
        Binding("down", "read(1)", show=False),
        Binding("up", "read(-1)", show=False),
        Binding("pagedown,space", "read(12)", show=False),
        Binding("pageup", "read(-12)", show=False),
    ]
    AUTO_FOCUS = ""

    def area(self) -> Iterator[Widget]:
        """Where the text is."""
        with VerticalScroll(id="text", classes="body", can_focus=False):
            yield Static(markup=False, id="words")

    def text(self, width: int, height: int) -> Content:
        """What is shown in so many columns; what is to be seen at once has so many rows."""
        raise NotImplementedError

    def fill(self) -> None:
        """Does nothing on a screen that was left while something was asked for."""
        if self.query("#words"):
            size = self.query_one("#text", VerticalScroll).size
            self.query_one("#words", Static).update(self.text(max(10, size.width - 2), max(3, size.height)))

    def from_the_top(self) -> None:
        """Another text: read from its beginning."""
        self.query_one("#text", VerticalScroll).scroll_home(animate=False)
        self.fill()

    def action_leave(self) -> None:
        """Back."""
        self.dismiss()

    def action_read(self, rows: int) -> None:
        """Scrolls."""
        self.query_one("#text", VerticalScroll).scroll_relative(y=rows, animate=False)

    def on_resize(self, event: Resize) -> None:
        """The text follows the width, a chart fills the room."""
        super().on_resize(event)
        if self.ready:
            self.call_after_refresh(self.fill)
