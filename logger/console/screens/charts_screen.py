"""The charts of the run on the whole screen."""

from __future__ import annotations

from functools import partial
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from logger.console.console import KeyLabels
from logger.console.marks import WORDS
from logger.console.panels import charts, progress, top
from logger.console.panels.board import Board, View
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.chart_panel import ChartPanel
from logger.console.screens.panel import Panel


class ChartsScreen(BoardScreen):
    """All three, or one of them larger."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("v,V", "view", show=False),
        Binding("escape,enter,q,Q", "leave", show=False),
    ]
    AUTO_FOCUS = ""
    heading = "CHARTS"
    about = (
        "Blocks are this run, dots the last runs of the same revision of its method that came to a result: their"
        " end is where the time axis ends. The loss rate stands on a logarithmic axis; the shade is one standard"
        " uncertainty up and down. Weighings are diamonds.",
        "Letters below a chart are events: "
        + ", ".join(f"{each} {words}" for each, words in WORDS.items())
        + ".",
        "A line says when the run leaves the earlier ones by more than their spread (and 1 % of the charge): look"
        " at it while it can still be stopped. It is no alarm, and nothing is decided by it.",
    )
    _view: View | None = None

    def compose(self) -> ComposeResult:
        """Head line, remark, charts, keys."""
        yield from self.frame()
        yield Panel(top.header, id="header", classes="body")
        yield Panel(progress.times, id="times", classes="body")
        yield ChartPanel(charts.charts, id="charts", classes="body")
        yield self.key_line()

    def key_labels(self) -> KeyLabels:
        """View, help, back."""
        return [("v", "view"), ("?", "help"), ("Esc", "back")]

    def key_help(self) -> KeyLabels:
        """The same in words."""
        return [("v", "All charts, then each of them alone."), ("Esc", "Back to the bench.")]

    def show(self, board: Board) -> None:
        """The texts, then the charts at their own pace."""
        self.set_rows(self.query_one("#times"), min(5, len(progress.time_lines(board, self.size.width - 2))))
        super().show(board)
        draw = partial(charts.charts, view=self._view)
        self.query_one("#charts", ChartPanel).show_chart(board, draw, self._view)

    def action_view(self) -> None:
        """The next view."""
        choice = charts.views(None, many=True)
        self._view = choice[(choice.index(self._view) + 1) % len(choice)]
        if self.console.board is not None:
            self.show(self.console.board)

    def action_leave(self) -> None:
        """Back to the bench."""
        self.dismiss()
