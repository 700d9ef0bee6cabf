"""Runs that wait for their review, newest first."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.events import ScreenResume
from textual.widgets import OptionList, Static

from logger.console.answers import dict_of, dicts_of
from logger.console.console import KeyLabels
from logger.console.literal import literal
from logger.console.panels.ink import BAD, DIM, STRONG, TITLE, flow, line, page, paragraph
from logger.console.run_rows import RunRow, detail_words, head_line, place_of, row_line, row_of
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.choice_list import NO_MARK, ChoiceList
from logger.console.screens.review_run_screen import ReviewRunScreen

PAGE = 50
SCROLL_BAR = 2
NONE_WAITS = "No run waits for a review."


class ReviewScreen(BoardScreen):
    """The newest unreviewed runs; Enter opens one."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,q,Q", "leave", show=False)]
    AUTO_FOCUS = "#waiting"
    CSS = """
    #waiting { height: 1fr; }
    #waiting-head { height: 1; }
    #waiting-detail { height: auto; max-height: 3; }
    """
    heading = "REVIEW"
    about = (
        "A run is signed by a registered reviewer who was not its operator (`lastgrain people list`).",
        "A signature, a correction and an invalidation each make a new revision of the record; none goes away.",
    )

    def __init__(self) -> None:
        super().__init__()
        self._rows: list[RunRow] = []
        self._said, self._refused, self._more = "Asking the service …", False, False

    def compose(self) -> ComposeResult:
        """Heading, list, what the marked run is, keys."""
        yield from self.frame()
        yield Static(markup=False, id="title", classes="body")
        yield Static(markup=False, id="waiting-head", classes="body")
        yield ChoiceList((), id="waiting")
        yield Static(markup=False, id="waiting-detail", classes="body")
        yield self.key_line()

    def on_mount(self) -> None:
        """Asks."""
        super().on_mount()
        self._ask()
        self._tell()

    def on_screen_resume(self, event: ScreenResume) -> None:
        """A run was looked at, and may have been signed."""
        super().on_screen_resume(event)
        if self.ready:
            self._ask()

    def kept_changed(self) -> None:
        """A run has ended, or was signed or corrected elsewhere."""
        self._ask()

    def key_labels(self) -> KeyLabels:
        """The keys of the list."""
        return [("Enter", "open"), ("↑ ↓", "choose"), ("?", "help"), ("Esc", "back")]

    def key_help(self) -> KeyLabels:
        """The same in sentences."""
        return [
            ("Enter", "Open the chosen run: its numbers, decision and events; sign or reject it there."),
            ("↑ ↓", "Choose a run."),
            ("Esc", "Back to the bench."),
        ]

    def action_leave(self) -> None:
        """Back."""
        self.dismiss()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter."""
        event.stop()
        row = self._chosen()
        if row is not None:
            self.app.push_screen(ReviewRunScreen(row.number))

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Another run was chosen."""
        event.stop()
        self._tell()

    def _ask(self) -> None:
        self.run_worker(self._fetch(), exclusive=True, group="waiting", name="ask for unreviewed runs")

    async def _fetch(self) -> None:
        reply = await self.console.client.query("runs", review="unreviewed", limit=PAGE)
        if not self.query("#waiting"):
            return  # left meanwhile
        answer, before = dict_of(reply.data), self._chosen()
        self._rows = [row_of(each) for each in dicts_of(answer.get("runs"))]
        self._more, self._refused = answer.get("cursor") is not None, not reply.ok
        self._said = reply.text if not reply.ok else "" if self._rows else NONE_WAITS
        self._fill(before)

    def _chosen(self) -> RunRow | None:
        place = self.query_one("#waiting", ChoiceList).highlighted
        return self._rows[place] if place is not None and place < len(self._rows) else None

    def _fill(self, chosen: RunRow | None = None) -> None:
        runs = self.query_one("#waiting", ChoiceList)
        width = max(20, runs.size.width - len(NO_MARK) - SCROLL_BAR)
        self.query_one("#waiting-head", Static).update(line((NO_MARK + head_line(width), TITLE)))
        rows = [Content(row_line(row, width, False)) for row in self._rows]
        runs.show_rows(rows, place_of(chosen, self._rows))
        self._tell()

    def _tell(self) -> None:
        width = max(20, self.query_one("#waiting-detail", Static).size.width)
        count = f"   {len(self._rows)} shown{', older ones wait too' if self._more else ''}"
        self.query_one("#title", Static).update(line((self.heading, STRONG), (count, DIM)))
        row = self._chosen()
        if self._said:
            words = paragraph(literal(self._said), width, BAD if self._refused else DIM)
        else:
            words = [] if row is None else [line((each, DIM)) for each in flow(detail_words(row), width)]
        self.query_one("#waiting-detail", Static).update(page(words))

    def on_resize(self, event: object) -> None:
        """The columns follow the width."""
        super().on_resize(event)  # type: ignore[arg-type]
        if self.ready:
            self.call_after_refresh(self._refill)

    def _refill(self) -> None:
        if self.query("#waiting"):
            self._fill()
