"""The bench: where the run stands and what to do now."""

from __future__ import annotations

import time

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from logger.console.console import KeyLabels
from logger.console.keys import USES, key_labels
from logger.console.panels import bottom, figures, lower, progress, top
from logger.console.panels.board import Board
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.panel import Panel

CHART_S = 0.5
"""A chart is redrawn at most twice a second."""

PLAIN_ROWS = 1 + 5 + 2
"""Head line, figures, and the least for the lower half."""
ROOMY_ROWS = 1 + 1 + 11 + 1 + 2 + 6
"""The same with the sample's line and the margins."""


def _bindings() -> list[BindingType]:
    uses: list[BindingType] = [Binding("enter,space", "use('enter')", show=False)]
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
        self._charted_at = 0.0
        self._charted: object = None

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
            yield ChartPanel(lower.charts, id="left")
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
            "#times": min(3 if board.snapshot.alarms else 4, len(progress.time_lines(board, width))),
            "#status": min(3, max(1, len(bottom.status_lines(board, width)))),
            "#keys": min(3, max(1, len(bottom.key_lines(board, width)))),
        }
        rows["#instruction"] = self._instruction_rows(board, width, sum(rows.values()))
        for name, count in rows.items():
            self.set_rows(self.query_one(name), count)
        super().show(board)
        self._show_left(board)

    def _instruction_rows(self, board: Board, width: int, others: int) -> int:
        """No more rows than needed or free: the rest is for the chart and the log."""
        roomy = self.has_class("-roomy")
        fixed = ROOMY_ROWS if roomy else PLAIN_ROWS
        most = 12 if roomy else 6 if board.snapshot.alarms or not board.answering else 8
        free = max(3, self.size.height - others - fixed)
        return min(free, len(top.instruction_lines(board, width, min(most, free))))

    def _show_left(self, board: Board) -> None:
        chart = self.has_class("-roomy") or lower.chart_shown(board)
        run = board.snapshot.run
        what = (chart, run and run.run_id, len(run.weighings) if run else 0, self.size)
        now_s = time.monotonic()
        if what == self._charted and now_s - self._charted_at < CHART_S:
            return
        self._charted, self._charted_at = what, now_s
        self.query_one("#left", ChartPanel).draw_from(board, lower.charts if chart else lower.weighings)

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


class ChartPanel(Panel):
    """Keeps its own pace: passes over the redraw of the other panels."""

    def show(self, board: Board) -> None:
        """Waits for `draw_from`."""
