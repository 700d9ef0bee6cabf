"""A panel with its own pace: a chart is costly to draw and slow to read, so twice a second is enough."""

from __future__ import annotations

import time

from logger.console.panels.board import Board
from logger.console.screens.panel import Draw, Panel

CHART_S = 0.5


class ChartPanel(Panel):
    """Passes over the redraw of the other panels; `show_chart` draws when it is time."""

    _drawn_at_s = 0.0
    _drawn_what: object = None

    def show(self, board: Board) -> None:
        """Waits for `show_chart`."""

    def show_chart(self, board: Board, draw: Draw, what: object) -> None:
        """Draws at most every CHART_S, but at once when `what` is shown, the run or the size has changed."""
        run = board.snapshot.run
        now_what = (what, run and run.run_id, len(run.weighings) if run else 0, self.size, board.earlier.runs)
        now_s = time.monotonic()
        if now_what != self._drawn_what or now_s - self._drawn_at_s >= CHART_S:
            self._drawn_what, self._drawn_at_s = now_what, now_s
            self.draw_from(board, draw)
