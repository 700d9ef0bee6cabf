"""The history: runs newest first, searched and filtered as one types."""

from __future__ import annotations

import asyncio
from typing import Any, ClassVar, Literal

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.content import Content
from textual.events import ScreenResume
from textual.widgets import Input, OptionList, Static

from logger.console.answers import dict_of, dicts_of, number_of
from logger.console.console import KeyLabels
from logger.console.literal import fit, literal
from logger.console.panels.ink import BAD, DIM, STRONG, TITLE, flow, line, page, paragraph
from logger.console.run_rows import (
    RunRow,
    detail_words,
    head_line,
    next_value,
    place_of,
    row_line,
    row_of,
    typed_filter,
)
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.choice_list import NO_MARK, ChoiceList
from logger.console.screens.compare_screen import MOST, CompareScreen
from logger.console.screens.run_screen import RunScreen
from logger.console.screens.scan_field import ScanField

PAUSE_S = 0.15
"""After the last key, before the service is asked."""
PAGE = 50
MOST_AGAIN = 200
"""Runs that one question may ask for."""
How = Literal["anew", "more", "again"]
SCROLL_BAR = 2
NOTHING_FITS = "No run fits. Words are found by their beginnings; F1 says what else may be typed."
NOTHING_KEPT = "No run is kept here yet."
FILTER_KEYS = {"f2": "outcome", "f3": "decision", "f4": "review"}


class HistoryScreen(BoardScreen):
    """Type to search; the arrows choose, Enter opens."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("down", "move(1)", show=False),
        Binding("up", "move(-1)", show=False),
        Binding("pagedown", "move(10)", show=False),
        Binding("pageup", "move(-10)", show=False),
        *(Binding(key, f"cycle('{name}')", show=False) for key, name in FILTER_KEYS.items()),
        Binding("f5", "group", show=False),
        Binding("f6", "mark", show=False),
        Binding("f7", "compare", show=False),
    ]
    CSS = """
    #runs { height: 1fr; }
    #runs-head { height: 1; }
    #runs-detail { height: auto; max-height: 3; }
    #runs-search { height: 1; margin: 0 0 1 0; }
    #runs-search .label { width: 8; }
    #runs-search Input { max-width: 100%; }
    """
    heading = "HISTORY"
    about: tuple[str, ...] = (
        "Words are found by their beginnings, in sample, lot, operator, method and run id.",
        "A filter may be typed among them: method:ID outcome:endpoint decision:reject review:unreviewed "
        "since:2026-03-01 until:2026-03-31 sieve:ID sample:ID.",
    )

    def __init__(self) -> None:
        super().__init__(classes="form")
        self._rows: list[RunRow] = []
        self._cursor: int | None = None
        self._wanted: dict[str, str] = {}
        self._marked: list[int] = []
        self._asking = False
        self._said, self._refused = "Asking the service …", False

    def compose(self) -> ComposeResult:
        """Heading, search, list, what the marked run is, keys."""
        yield from self.frame()
        yield Static(markup=False, id="title", classes="body")
        with Horizontal(id="runs-search", classes="field body"):
            yield Static("search", markup=False, classes="label")
            yield ScanField("", "sample, lot, operator, method, run id", id="field-search")
        yield Static(markup=False, id="runs-head", classes="body")
        yield ChoiceList((), id="runs")
        yield Static(markup=False, id="runs-detail", classes="body")
        yield self.key_line()

    def on_mount(self) -> None:
        """The newest runs at once."""
        super().on_mount()
        self.query_one("#runs", ChoiceList).can_focus = False
        self._ask()
        self._tell()

    def key_labels(self) -> KeyLabels:
        """The keys of the list."""
        return [
            ("Enter", "open"),
            ("↑ ↓", "choose"),
            ("F2", "outcome"),
            ("F3", "decision"),
            ("F4", "review"),
            ("F5", "same sample"),
            ("F6", "mark"),
            ("F7", "compare"),
            ("F1", "help"),
            ("Esc", "back"),
        ]

    def key_help(self) -> KeyLabels:
        """The same in sentences."""
        return [
            ("Enter", "Open the chosen run."),
            ("↑ ↓ PgUp PgDn", "Choose a run; older ones are fetched at the end of the list."),
            ("F2 F3 F4", "Show only runs of one outcome, decision or review; again for the next, then all."),
            ("F5", "Show the determinations of the chosen run's sample by its method; again for all."),
            ("F6", f"Mark the chosen run for comparison, up to {MOST}; again takes the mark away."),
            ("F7", "Lay the marked runs over each other."),
            ("Esc", "Back to the bench."),
        ]

    # what is typed and chosen

    def on_input_changed(self, event: Input.Changed) -> None:
        """Something was typed."""
        event.stop()
        self._ask()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter."""
        event.stop()
        row = self._chosen()
        if row is not None:
            self.app.push_screen(RunScreen(row.number))

    def on_scan_field_refused(self, event: ScanField.Refused) -> None:
        """What was not taken is said."""
        self._say(event.sentence, refused=True)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Another run was chosen; near the end of the list older ones are fetched."""
        event.stop()
        self._said = "" if self._rows else self._said
        self._tell()
        if self._cursor is not None and event.option_index >= len(self._rows) - 5:
            self._ask("more")

    def action_move(self, rows: int) -> None:
        """Chooses another run."""
        runs = self.query_one("#runs", ChoiceList)
        if self._rows:
            runs.highlighted = min(len(self._rows) - 1, max(0, (runs.highlighted or 0) + rows))

    def action_cycle(self, name: str) -> None:
        """The next value of a filter."""
        self._set(name, next_value(name, self._wanted.get(name, "")))

    def action_group(self) -> None:
        """The chosen run's determination group, or all again."""
        row = self._chosen()
        if "like" in self._wanted or row is not None:
            self._set("like", "" if "like" in self._wanted or row is None else str(row.number))

    def _set(self, name: str, value: str) -> None:
        self._wanted = {**self._wanted, name: value}
        if not value:
            del self._wanted[name]
        self._ask()

    def action_mark(self) -> None:
        """Marks a run for comparison."""
        row = self._chosen()
        if row is None:
            return
        if row.number in self._marked:
            self._marked.remove(row.number)
        elif len(self._marked) < MOST:
            self._marked.append(row.number)
        else:
            self._say(f"Up to {MOST} runs are compared: take a mark away with F6.", refused=True)
            return
        self._fill()

    def action_compare(self) -> None:
        """Opens the comparison."""
        if len(self._marked) < 2:
            self._say("Mark two or more runs with F6 first.", refused=True)
        else:
            self.app.push_screen(CompareScreen(tuple(self._marked)))

    def action_leave(self) -> None:
        """Back."""
        self.dismiss()

    # asking

    def _ask(self, how: How = "anew") -> None:
        if how != "anew" and self._asking:
            return
        self._asking = True
        self.run_worker(self._fetch(how), exclusive=True, group="runs", name="ask for runs")

    async def _fetch(self, how: How) -> None:
        await asyncio.sleep(PAUSE_S if how == "anew" else 0.0)
        if not self.query("#runs"):
            return  # left meanwhile
        reply = await self.console.client.query("runs", **self._question(how))
        self._asking = False
        if not self.query("#runs"):
            return
        if not reply.ok:
            self._say(reply.text, refused=True)
            return
        answer = dict_of(reply.data)
        rows = [row_of(each) for each in dicts_of(answer.get("runs"))]
        cursor = number_of(answer.get("cursor"))
        self._cursor = None if cursor is None else int(cursor)
        before = self._chosen()
        self._rows = [*self._rows, *rows] if how == "more" else rows
        filtered = len(self._question("anew")) > 1
        self._said = "" if self._rows else NOTHING_FITS if filtered else NOTHING_KEPT
        self._refused = False
        if how == "anew":
            self.query_one("#runs", ChoiceList).highlighted = None
            before = None
        self._fill(before)

    def _question(self, how: How) -> dict[str, Any]:
        """What was typed and chosen; from the top, the next page, or what is shown once more."""
        typed = typed_filter(self.query_one("#field-search", Input).value)
        wanted: dict[str, Any] = self._wanted | typed | {"limit": PAGE}
        if how == "more" and self._cursor is not None:
            wanted["before"] = self._cursor
        elif how == "again":
            wanted["limit"] = max(PAGE, len(self._rows))
        return wanted

    def on_screen_resume(self, event: ScreenResume) -> None:
        """Back from a run: what was signed or corrected meanwhile is shown."""
        super().on_screen_resume(event)
        self.kept_changed()

    def kept_changed(self) -> None:
        """What is shown is asked for once more."""
        if 0 < len(self._rows) <= MOST_AGAIN:
            self._ask("again")

    # showing

    def _say(self, sentence: str, *, refused: bool) -> None:
        """Until another run is chosen or asked for."""
        self._said, self._refused = sentence, refused
        self._tell()

    def _chosen(self) -> RunRow | None:
        place = self.query_one("#runs", ChoiceList).highlighted
        return self._rows[place] if place is not None and place < len(self._rows) else None

    def _fill(self, chosen: RunRow | None = None) -> None:
        """The list; the mark goes where the chosen run is now, or stays in its place."""
        runs = self.query_one("#runs", ChoiceList)
        width = max(20, runs.size.width - len(NO_MARK) - SCROLL_BAR)
        self.query_one("#runs-head", Static).update(line((NO_MARK + head_line(width), TITLE)))
        rows = [Content(row_line(row, width, row.number in self._marked)) for row in self._rows]
        runs.show_rows(rows, place_of(chosen, self._rows))
        self._tell()

    def _tell(self) -> None:
        width = max(20, self.query_one("#runs-detail", Static).size.width)
        self.query_one("#title", Static).update(self._title(width))
        row = self._chosen()
        if self._said:
            sentence = f"{'✗ ' if self._refused else ''}{literal(self._said)}"
            words = paragraph(sentence, width, BAD if self._refused else DIM)
        else:
            words = [] if row is None else [line((each, DIM)) for each in flow(detail_words(row), width)]
        self.query_one("#runs-detail", Static).update(page(words))

    def _title(self, width: int) -> Content:
        shown = [f"{len(self._rows)} shown" + (", more below" if self._cursor is not None else "")]
        shown += [f"{name.removesuffix('_id')}: {value}" for name, value in self._wanted.items()]
        shown += [f"{len(self._marked)} marked"] if self._marked else []
        return line((self.heading, STRONG), (fit(f"   {' · '.join(shown)}", width - len(self.heading)), DIM))

    def on_resize(self, event: Any) -> None:
        """The columns follow the width."""
        super().on_resize(event)
        if self.ready:
            self.call_after_refresh(self._refill)

    def _refill(self) -> None:
        if self.query("#runs"):
            self._fill()
