"""A part of the screen that is redrawn only when its text has changed."""

from __future__ import annotations

from collections.abc import Callable

from rich.cells import cell_len
from textual.content import Content
from textual.widgets import Static

from logger.console.panels.board import Board

Draw = Callable[[Board, int, int], Content]


def clipped(content: Content, width: int, height: int) -> Content:
    """The content in its place; a line too wide for it ends with an ellipsis."""
    plain = content.plain.split("\n")
    if len(plain) <= height and all(cell_len(line) <= width for line in plain):
        return content
    lines = content.split("\n", allow_blank=True)[:height]
    return Content("\n").join(line.truncate(width, ellipsis=True) for line in lines)


class Panel(Static):
    """Shows what `draw(board, width, height)` returns, literally."""

    def __init__(self, draw: Draw, *, id: str, classes: str = "") -> None:
        super().__init__("", markup=False, id=id, classes=f"panel {classes}")
        self._draw = draw
        self._board: Board | None = None
        self._shown: tuple[str, object] | None = None

    def show(self, board: Board) -> None:
        """Draws from this board."""
        self.draw_from(board, self._draw)

    def draw_from(self, board: Board, draw: Draw) -> None:
        """Draws from this board in this way, from now on."""
        self._draw, self._board = draw, board
        self._draw_again()

    def on_resize(self) -> None:
        """The text depends on the room."""
        self._draw_again()

    def _draw_again(self) -> None:
        width, height = self.content_size
        if self._board is None or not self.display or width < 1 or height < 1:
            return
        content = clipped(self._draw(self._board, width, height), width, height)
        drawn = (content.plain, content.spans)
        if drawn != self._shown:
            self._shown = drawn
            self.update(content, layout=False)
