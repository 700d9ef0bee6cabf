"""Two to six kept runs over each other: their curves on one chart, their figures side by side."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Static

from logger.console.console import KeyLabels
from logger.console.kept import KeptRun, kept_run
from logger.console.literal import fit, literal
from logger.console.panels.compared import compared_table
from logger.console.panels.ink import BAD, DIM, STRONG, line, page, paragraph
from logger.console.panels.kept_charts import LETTERS, compared_chart
from logger.console.screens.scrolled_screen import ScrolledScreen

MOST = len(LETTERS)


class CompareScreen(ScrolledScreen):
    """Asks for the runs and shows chart or table."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("c,C", "turn('chart')", show=False),
        Binding("t,T", "turn('table')", show=False),
        Binding("left,right,tab", "turn('')", show=False),
    ]
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
        yield from self.area()
        yield self.key_line()

    def on_mount(self) -> None:
        """Asks."""
        super().on_mount()
        self._ask()
        self.fill()

    def key_labels(self) -> KeyLabels:
        """Two pages."""
        return [("c", "chart"), ("t", "table"), ("↑ ↓", "read"), ("?", "help"), ("Esc", "back")]

    def kept_changed(self) -> None:
        """One of the runs was corrected, perhaps."""
        self._ask()

    def _ask(self) -> None:
        self.run_worker(self._fetch(), exclusive=True, group="runs", name="ask for runs")

    async def _fetch(self) -> None:
        client, found, problems = self.console.client, [], []
        for number in self._numbers:
            reply = await client.query("run", which=str(number), parts=["record", "curves"])
            if reply.ok:
                found.append(kept_run(reply.data))
            else:
                problems.append(f"Run {number}: {reply.text}")
        self._runs, self._problems = found, problems
        self.fill()

    def action_turn(self, name: str) -> None:
        """Chart or table."""
        self._page = name or ("table" if self._page == "chart" else "chart")
        self.from_the_top()

    def fill(self) -> None:
        """The letters of the runs over the text."""
        super().fill()
        named = [f"{letter} run {run.row.number}" for letter, run in zip(LETTERS, self._runs, strict=False)]
        head = fit(f"   {' · '.join(named)}", max(4, self.size.width - 2 - len(self.heading)))
        for shown in self.query("#run-head").results(Static):
            shown.update(line((self.heading, STRONG), (head, DIM)))

    def text(self, width: int, height: int) -> Content:
        """What could not be shown, then chart or table."""
        told = [each for text in self._problems for each in paragraph(literal(text), width, BAD)]
        if not self._runs:
            return page(told or [line(("Asking the service …", DIM))])
        if self._page == "chart":
            return page([*told, compared_chart(self._runs, width, height - len(told))])
        return page([*told, compared_table(self._runs, width)])
