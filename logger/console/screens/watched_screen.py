"""One instruction, one live reading, one key: what the checks at the start of a shift look like."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Static

from logger.console.console import KeyLabels
from logger.console.literal import literal
from logger.console.panels.board import Board
from logger.console.panels.ink import BAD, GOOD, STRONG, page, paragraph
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.key_line import KeyLine
from logger.service.client import Reply


class WatchedScreen(BoardScreen):
    """Subclasses say `instruction`, `reading` and `enter_label`, and do `take`."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("enter,space", "take", show=False),
    ]
    AUTO_FOCUS = ""

    def __init__(self) -> None:
        super().__init__()
        self._busy = False
        self._said_at: tuple[str, str] | None = None
        """What was asked when the answer was given; None while there is none."""

    def compose(self) -> ComposeResult:
        """Heading, instruction, reading, answer, keys."""
        yield from self.frame()
        yield Static(Content.styled(self.heading, STRONG), markup=False, id="title", classes="body")
        yield Static("", markup=False, id="ask", classes="body")
        yield Static("", markup=False, id="reading", classes="body")
        yield Static("", markup=False, id="error", classes="body")
        yield self.key_line()

    def instruction(self) -> tuple[str, str]:
        """What to do now, and a line that says more."""
        raise NotImplementedError

    def reading(self, board: Board) -> str:
        """What the instrument shows."""
        raise NotImplementedError

    def enter_label(self) -> str:
        """What Enter does."""
        raise NotImplementedError

    async def take(self, board: Board) -> Reply | None:
        """Takes the reading. None when there is nothing to say."""
        raise NotImplementedError

    def key_labels(self) -> KeyLabels:
        """Two keys."""
        return [("Enter", self.enter_label()), ("F1", "help"), ("Esc", "back")]

    def show(self, board: Board) -> None:
        """The newest reading."""
        super().show(board)
        width = max(20, self.size.width - 2)
        text, detail = self.instruction()
        if self._said_at not in (None, (text, detail)):
            self._said_at = None
            self.query_one("#error", Static).update("")
        lines = [*paragraph(text, width, STRONG), *paragraph(detail, width)]
        self.query_one("#ask", Static).update(page(lines))
        self.query_one("#reading", Static).update(Content.styled(literal(self.reading(board)), STRONG))

    def action_take(self) -> None:
        """Enter."""
        board = self.console.board
        if board is None or not board.answering:
            self.say(Reply(False, "The service does not answer; nothing was taken."))
        elif not self._busy:
            self._busy = True
            self.run_worker(self._take(board), name="take reading")

    async def _take(self, board: Board) -> None:
        try:
            reply = await self.take(board)
        finally:
            self._busy = False
        if reply is not None and self.is_current:
            self.say(reply)
        if self.console.board is not None and self.is_current:
            self.show(self.console.board)
        if self.is_current:
            self.query_one("#form-keys", KeyLine).refresh_labels()

    def say(self, reply: Reply) -> None:
        """Shows an answer, until something else is asked."""
        self._said_at = self.instruction()
        mark, style = ("✓", GOOD) if reply.ok and not reply.text.startswith("FAILED") else ("✗", BAD)
        self.query_one("#error", Static).update(Content.styled(f"{mark} {literal(reply.text)}", style))

    def action_leave(self) -> None:
        """Back."""
        self.dismiss()
