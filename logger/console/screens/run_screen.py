"""One kept run: chart, figures, decision, uncertainty, events, revisions; a page behind each key."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Static

from logger.console.console import KeyLabels, WriteReport
from logger.console.kept import KeptRun, kept_run, residue_words
from logger.console.literal import fit, literal
from logger.console.panels import kept_pages
from logger.console.panels.ink import BAD, DIM, GOOD, STRONG, line, page, paragraph
from logger.console.panels.kept_charts import run_chart
from logger.console.screens.scrolled_screen import ScrolledScreen
from logger.console.words import NOTHING
from logger.service.client import Reply


@dataclass(frozen=True, slots=True)
class Page:
    """A page of the run, its key and the word on the key line. A chart fills the room, a text is scrolled."""

    key: str
    word: str
    help: str
    draw: Callable[[KeptRun, int, int], Content]


def _text(draw: Callable[[KeptRun, int], Content]) -> Callable[[KeptRun, int, int], Content]:
    return lambda run, width, height: draw(run, width)


PAGES = (
    Page("c", "chart", "Load, loss rate with its limit on a log axis, pressure with its band.", run_chart),
    Page("n", "numbers", "The figures, what was tested and with what.", _text(kept_pages.numbers)),
    Page(
        "d",
        "decision",
        "Why the run ended, and why its figure was accepted or not.",
        _text(kept_pages.decision),
    ),
    Page("u", "uncertainty", "The uncertainty budget, the largest share first.", _text(kept_pages.budget)),
    Page("e", "events", "The log of the run, oldest first.", _text(kept_pages.events)),
    Page("r", "revisions", "Every revision of the record, with its hash.", _text(kept_pages.revisions)),
)


class RunScreen(ScrolledScreen):
    """Asks for the run once and shows its pages."""

    BINDINGS: ClassVar[list[BindingType]] = [
        *(
            Binding(f"{each.key},{each.key.upper()}", f"turn({at})", show=False)
            for at, each in enumerate(PAGES)
        ),
        Binding("right,tab", "next(1)", show=False),
        Binding("left,shift+tab", "next(-1)", show=False),
        Binding("p,P", "report", show=False),
    ]
    CSS = """
    #run-head { height: 1; }
    #run-told { height: auto; min-height: 1; max-height: 3; }
    """
    about: tuple[str, ...] = ("Nothing can be changed here: this is what was kept.",)

    def __init__(self, number: int) -> None:
        super().__init__()
        self.heading = f"RUN {number}"
        self._number = number
        self._run: KeptRun | None = None
        self._problem = "Asking the service …"
        self._page = 0
        self._told: Reply | None = None
        self._writing = False

    def compose(self) -> ComposeResult:
        """Who and what, the page, keys."""
        yield from self.frame()
        yield Static(markup=False, id="run-head", classes="body")
        yield Static(markup=False, id="run-told", classes="body")
        yield from self.area()
        yield self.key_line()

    def on_mount(self) -> None:
        """Asks."""
        super().on_mount()
        self._ask()
        self.fill()

    def key_labels(self) -> KeyLabels:
        """The pages first."""
        pages = [(each.key, each.word) for each in PAGES]
        return [*pages, ("p", "report"), ("↑ ↓", "read"), ("?", "help"), ("Esc", "back")]

    def key_help(self) -> KeyLabels:
        """What is on each page."""
        return [
            *((each.key, each.help) for each in PAGES),
            ("← →", "The page before, the page after."),
            ("p", "Write the report of this run into a file, to print it."),
            ("Esc", "Back."),
        ]

    def kept_changed(self) -> None:
        """Signed or corrected elsewhere, perhaps: asks again."""
        self._ask()

    def _ask(self) -> None:
        self.run_worker(self._fetch(), exclusive=True, group="run", name="ask for a run")

    async def _fetch(self) -> None:
        reply = await self.console.client.query("run", which=str(self._number))
        if not reply.ok:
            self._problem = reply.text
        elif self._run is None:
            self.take(kept_run(reply.data))
        elif (newer := kept_run(reply.data)).row != self._run.row:
            self.changed(newer)
        self.fill()

    def take(self, run: KeptRun) -> None:
        """From now on this is shown."""
        self._run, self._problem = run, ""

    def changed(self, newer: KeptRun) -> None:
        """The run is no longer as it is shown here."""
        self.take(newer)
        self._told = Reply(True, f"Read again: {stands_now(newer)}.")

    def action_turn(self, place: int) -> None:
        """Another page, from its top."""
        self._told = None
        self._page = place
        self.from_the_top()

    def action_next(self, step: int) -> None:
        """The page beside."""
        self.action_turn((self._page + step) % len(PAGES))

    def action_report(self) -> None:
        """Writes the report beside the loop; the answer stands in the place of the head line."""
        write = self.console.write_report
        if write is None:
            self._say(Reply(False, "This console writes no files: use `lastgrain runs report` on the bench."))
        elif not self._writing:
            self._writing = True
            self._say(Reply(True, "The report is being written …"))
            self.run_worker(self._write(write), name="write a report")

    async def _write(self, write: WriteReport) -> None:
        self._say(await asyncio.to_thread(write, self._number))
        self._writing = False

    def _say(self, reply: Reply) -> None:
        self._told = reply
        self.fill()

    def fill(self) -> None:
        """Which run and page it is, and what was said, over the text."""
        for head in self.query("#run-head").results(Static):
            head.update(self._head(self.size.width - 2))
        for told in self.query("#run-told").results(Static):
            told.update(page(self._told_lines(max(10, self.size.width - 4))))
        super().fill()

    def text(self, width: int, height: int) -> Content:
        """The page that was chosen."""
        if self._run is None:
            return page([line((literal(self._problem), BAD))])
        return PAGES[self._page].draw(self._run, width, height)

    def _told_lines(self, width: int) -> list[Content]:
        told = self.told()
        if told is None:
            return []
        style = GOOD if told.ok else BAD
        return paragraph(f"{'✓' if told.ok else '✗'} {literal(told.text)}", width, style)

    def told(self) -> Reply | None:
        """What stands over the page."""
        return self._told

    def _head(self, width: int) -> Content:
        shown = PAGES[self._page].word
        if self._run is None:
            return line((self.heading, STRONG), (f"  {shown}", DIM))
        row = self._run.row
        decided = "" if row.decision == NOTHING else f", {row.decision}"
        rest = f"  {shown} · {residue_words(self._run)}{decided} · {row.method} · {row.sample}"
        return line((self.heading, STRONG), (fit(rest, max(4, width - len(self.heading))), DIM))


def stands_now(run: KeptRun) -> str:
    """Which revision there is now, and how it was reviewed, as half a sentence."""
    return f"the record is now in revision {run.row.revision or NOTHING}, {kept_pages.review_words(run)}"
