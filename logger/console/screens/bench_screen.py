"""The bench: where the run stands and what to do now."""

from __future__ import annotations

from functools import partial

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from logger.console.console import KeyLabels
from logger.console.keys import USES, key_labels
from logger.console.panels import bottom, charts, figures, lower, progress, top
from logger.console.panels.board import Board, View
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.chart_panel import ChartPanel
from logger.console.screens.panel import Panel

PLAIN_ROWS = 1 + 5 + 2
"""Head line, figures, and the least for the lower half."""
ROOMY_ROWS = 1 + 1 + 11 + 1 + 2 + 6
"""The same with the sample's line and the margins."""


def _bindings() -> list[BindingType]:
    uses: list[BindingType] = [Binding("enter,space", "use('enter')", show=False)]
    uses.append(Binding("escape", "use('escape')", show=False))
    for use in USES:
        names = "question_mark" if use.key == "?" else f"{use.key},{use.key.upper()}"
        uses.append(Binding(names, f"use('{use.key}')", show=False))
    return uses


class BenchScreen(BoardScreen):
    """The screen that is on while a run goes on."""

    BINDINGS = _bindings()
    AUTO_FOCUS = ""
    heading = "THE BENCH"

    def __init__(self) -> None:
        super().__init__(id="bench")

    def compose(self) -> ComposeResult:
        """Top to bottom as it is read from afar."""
        yield from self.frame()
        yield Panel(top.header, id="header", classes="body")
        yield Panel(top.instruction, id="instruction", classes="body")
        with Horizontal(id="figures", classes="body"):
            yield Panel(figures.mass, id="mass")
            yield Panel(figures.rate_or_result, id="rate")
            yield Panel(figures.pressure, id="pressure")
        yield Panel(progress.times, id="times", classes="body")
        yield Panel(progress.sample, id="sample", classes="body")
        with Horizontal(id="lower", classes="body"):
            yield ChartPanel(charts.charts, id="left")
            yield Panel(lower.weighings, id="weighings")
            yield Panel(lower.events, id="events")
        yield Panel(bottom.status, id="status", classes="body")
        yield Panel(bottom.keys, id="keys", classes="body")

    def show(self, board: Board) -> None:
        """Heights first, then the texts; the chart at its own pace."""
        width = self.size.width
        self.set_class(not board.answering, "-stale")
        self.set_class(board.snapshot.run is not None and board.snapshot.run.mode == "interval", "-interval")
        rows = {
            "#alarms": min(self.ALARM_ROWS_MOST, top.alarm_rows(board, width)),
            "#times": min(self._most_times(board), len(progress.time_lines(board, width))),
            "#status": min(3, max(1, len(bottom.status_lines(board, width)))),
            "#keys": min(3, max(1, len(bottom.key_lines(board, width)))),
        }
        rows["#instruction"] = self._instruction_rows(board, width, sum(rows.values()))
        for name, count in rows.items():
            self.set_rows(self.query_one(name), count)
        super().show(board)
        self._show_left(board)

    def _most_times(self, board: Board) -> int:
        """Why a run ended is told whole in the log: on a small screen its figures need the rows."""
        ended = board.snapshot.run is not None and board.snapshot.run.result is not None
        return 3 if board.snapshot.alarms or (ended and not self.has_class("-roomy")) else 5

    def _instruction_rows(self, board: Board, width: int, others: int) -> int:
        """No more rows than needed or free: the rest is for the chart and the log."""
        roomy = self.has_class("-roomy")
        fixed = ROOMY_ROWS if roomy else PLAIN_ROWS
        most = 12 if roomy else 6 if board.snapshot.alarms or not board.answering else 8
        free = max(3, self.size.height - others - fixed)
        return min(free, len(top.instruction_lines(board, width, min(most, free))))

    def _show_left(self, board: Board) -> None:
        view = charts.shown_view(board, self.has_class("-roomy"))
        draw = lower.weighings if view == "weighings" else partial(charts.charts, view=view)
        self.query_one("#left", ChartPanel).show_chart(board, draw, view)

    def next_view(self, board: Board) -> View | None:
        """What the view key changes to."""
        many = self.has_class("-roomy")
        choice = charts.views(board.snapshot.run, many)
        return choice[(choice.index(charts.shown_view(board, many)) + 1) % len(choice)]

    def key_labels(self) -> KeyLabels:
        """What applies now."""
        board = self.console.board
        return [] if board is None else key_labels(board.snapshot.can, board.answering)

    def key_help(self) -> KeyLabels:
        """All keys: those that would do nothing now are not on the key line, so this is where they are found."""
        return [(use.key, use.help) for use in USES]

    def action_use(self, key: str) -> None:
        """A key was pressed."""
        self.console.use(key)
