"""What all screens share: alarms at the top, keys at the bottom, key values when the terminal is too small."""

from __future__ import annotations

from collections.abc import Iterator
from typing import cast

from textual.events import Resize, ScreenResume
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Input

from logger.console.console import Console, KeyLabels
from logger.console.panels.board import Board
from logger.console.panels.small import small, too_small
from logger.console.panels.top import alarm_rows, alarms
from logger.console.screens.key_line import KeyLine
from logger.console.screens.panel import Panel


class BoardScreen(Screen[None]):
    """Shows the newest board while it is on top. Subclasses yield `frame()` first and `key_line()` last."""

    ALARM_ROWS_MOST = 4
    AUTO_FOCUS = "Input"
    heading = ""
    """The screen's name, at its top and over its help."""
    about: tuple[str, ...] = ()
    """Sentences that its help page says about this screen."""

    _typed_in: Widget | None = None
    _kept: tuple[bool, int, bool] | None = None
    """Whether the service answered, revisions it has made, whether a run is over: as last seen by this screen."""
    ready = False
    """Whether the parts are there to be drawn into."""

    def on_mount(self) -> None:
        """All parts are there."""
        self.ready = True

    @property
    def console(self) -> Console:
        """What the app offers to its screens."""
        return cast(Console, self.app)

    def key_labels(self) -> KeyLabels:
        """The keys that work on this screen now: what the key line and the help page show."""
        return [("Esc", "back")]

    def key_help(self) -> KeyLabels:
        """The same keys with a sentence each where a label is too short."""
        return self.key_labels()

    def key_line(self) -> Widget:
        """The row of keys at the bottom."""
        return KeyLine(self.key_labels, id="form-keys", classes="body")

    def frame(self) -> Iterator[Widget]:
        """The parts that every screen has."""
        yield Panel(small, id="small")
        yield Panel(alarms, id="alarms", classes="body")

    def show(self, board: Board) -> None:
        """Draws the newest board."""
        strip = self.query_one("#alarms", Panel)
        rows = min(self.ALARM_ROWS_MOST, alarm_rows(board, self.size.width))
        self.set_rows(strip, rows)
        for panel in self.query(Panel):
            panel.show(board)
        self._look_whether_kept_changed(board)

    def _look_whether_kept_changed(self, board: Board) -> None:
        before = self._kept
        self._kept = (board.answering, board.snapshot.revised, "start" in board.snapshot.can)
        if before is not None and self._kept != before and board.answering:
            self.kept_changed()

    def kept_changed(self) -> None:
        """A run was reviewed, corrected or ended since this screen was opened, perhaps elsewhere, or that is not known.

        Screens that show what is kept ask again.
        """

    def set_rows(self, widget: Widget, rows: int) -> None:
        """Gives the widget this height; none at all hides it. Does nothing when it has it already."""
        height = widget.styles.height
        if height is None or height.value != rows:
            widget.styles.height = rows
        widget.set_class(rows == 0, "-empty")

    def on_screen_resume(self, event: ScreenResume) -> None:
        """Another screen was closed: catch up."""
        self.call_after_refresh(self._catch_up)

    def on_resize(self, event: Resize) -> None:
        """Below the least size only the key values are shown; what was typed in is kept."""
        self._typed_in = self.focused or self._typed_in
        self.set_class(too_small(event.size.width, event.size.height), "-small")
        if self._typed_in is not None and not self.has_class("-small"):
            self.call_after_refresh(self._type_on)
        self.set_class(event.size.width >= 110 and event.size.height >= 36, "-roomy")
        self.call_after_refresh(self._catch_up)

    def _type_on(self) -> None:
        """Back to the field, behind what stands in it already."""
        if isinstance(self._typed_in, Input):
            self._typed_in.select_on_focus = False
        if self._typed_in is not None:
            self._typed_in.focus()

    def _catch_up(self) -> None:
        if self.console.board is not None and self.is_current:
            self.show(self.console.board)
