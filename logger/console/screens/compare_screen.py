"""Two to six kept runs over each other: their curves on one chart, their figures side by side."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widgets import Static

from logger.console.console import KeyLabels
from logger.console.kept import KeptRun, kept_run
from logger.console.literal import fit, literal
from logger.console.panels.compared import compared_table
from logger.console.panels.ink import BAD, DIM, STRONG, line, page, paragraph
from logger.console.panels.kept_charts import LETTERS, compared_chart
from logger.console.screens.board_screen import BoardScreen

MOST = len(LETTERS)


class CompareScreen(BoardScreen):
    """Asks for the runs and shows chart or table."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("c,C", "turn('chart')", show=False),
        Binding("t,T", "turn('table')", show=False),
        Binding("left,right,tab", "turn('')", show=False),
        Binding("down", "read(1)", show=False),
        Binding("up", "read(-1)", show=False),
        Binding("pagedown,space", "read(12)", show=False),
        Binding("pageup", "read(-12)", show=False),
        Binding("escape,q,Q", "leave", show=False),
    ]
    AUTO_FOCUS = ""
    CSS = """
    #run-head { height: 1; margin: 0 0 1 0; }
    """
    heading = "COMPARISON"
    about: tuple[str, ...] = (
        "Each run has a letter: it is drawn with it on the chart and has a column under it in the table.",
    )

    def __init__(self, numbers: tuple[int, ...]) -> None:
        super().__init__()
        self._numbers = numbers[:MOST]
        self._runs: list[KeptRun] = []
        self._problems: list[str] = []
        self._page = "chart"

    def compose(self) -> ComposeResult:
        """Heading, chart or table, keys."""
        yield from self.frame()
        yield Static(markup=False, id="run-head", classes="body")
        with VerticalScroll(id="text", classes="body", can_focus=False):
            yield Static(markup=False, id="words")
        yield self.key_line()

    def on_mount(self) -> None:
        """Asks."""
        super().on_mount()
        self.run_worker(self._fetch(), name="ask for runs")
        self._fill()

    def key_labels(self) -> KeyLabels:
        """Two pages."""
        return [("c", "chart"), ("t", "table"), ("↑ ↓", "read"), ("?", "help"), ("Esc", "back")]

    async def _fetch(self) -> None:
        client = self.console.client
        for number in self._numbers:
            reply = await client.query("run", which=str(number), parts=["record", "curves"])
            if reply.ok:
                self._runs.append(kept_run(reply.data))
            else:
                self._problems.append(f"Run {number}: {reply.text}")
        self._fill()

    def action_turn(self, name: str) -> None:
        """Chart or table."""
        self._page = name or ("table" if self._page == "chart" else "chart")
        self.query_one("#text", VerticalScroll).scroll_home(animate=False)
        self._fill()

    def action_read(self, rows: int) -> None:
        """Scrolls."""
        self.query_one("#text", VerticalScroll).scroll_relative(y=rows, animate=False)

    def action_leave(self) -> None:
        """Back."""
        self.dismiss()

    def on_resize(self, event: object) -> None:
        """The chart fills the room."""
        super().on_resize(event)  # type: ignore[arg-type]
        if self.ready:
            self.call_after_refresh(self._fill)

    def _fill(self) -> None:
        if not self.query("#words"):
            return  # left meanwhile
        area = self.query_one("#text", VerticalScroll)
        width, height = max(10, area.size.width - 2), max(3, area.size.height)
        named = [f"{letter} run {run.row.number}" for letter, run in zip(LETTERS, self._runs, strict=False)]
        head = fit(f"   {' · '.join(named)}", max(4, self.size.width - 2 - len(self.heading)))
        self.query_one("#run-head", Static).update(line((self.heading, STRONG), (head, DIM)))
        told = [each for text in self._problems for each in paragraph(literal(text), width, BAD)]
        if not self._runs:
            shown = page(told or [line(("Asking the service …", DIM))])
        elif self._page == "chart":
            shown = page([*told, compared_chart(self._runs, width, height - len(told))])
        else:
            shown = page([*told, compared_table(self._runs, width)])
        self.query_one("#words", Static).update(shown)
