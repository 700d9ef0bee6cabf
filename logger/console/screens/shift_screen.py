"""Start of a shift: what is due, in order, with a key for what can be done at the console."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import partial
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.events import ScreenResume
from textual.widgets import OptionList, Static

from logger.console import shift_forms
from logger.console.console import KeyLabels
from logger.console.forms import Form
from logger.console.literal import literal
from logger.console.panels.ink import BAD, DIM, GOOD, STRONG, page, paragraph
from logger.console.screens.balance_check_screen import BalanceCheckScreen
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.choice_list import ChoiceList
from logger.console.screens.form_screen import FormScreen
from logger.console.screens.key_line import KeyLine
from logger.console.screens.pressure_zero_screen import PressureZeroScreen
from logger.console.shift_rows import Task, tasks_of, weights_of
from logger.service.client import Reply

WAITING = "Asking the service …"
KINDS = {"bag": "part_changed", "air": "air_measured", "zero": "pressure_zeroed", "drill": "restore_drilled"}


class ShiftScreen(BoardScreen):
    """Asks the service anew whenever it comes to the top."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,q,Q", "leave", show=False),
        Binding("a,A", "do('air')", show=False),
        Binding("z,Z", "do('zero')", show=False),
        Binding("c,C", "do('balance')", show=False),
        Binding("b,B", "do('bag')", show=False),
        Binding("f,F", "do('filter')", show=False),
        Binding("d,D", "do('drill')", show=False),
        Binding("u,U", "undo", show=False),
    ]
    AUTO_FOCUS = "#tasks"
    heading = "START OF SHIFT"
    about = (
        "What failed stands first, then what is due, then the rest. The bench file says how often each is asked for.",
        "Every entry is kept with your name and the time. The entry made last can be withdrawn for an hour.",
    )

    def __init__(self) -> None:
        super().__init__()
        self._answer: Any = None
        self._tasks: list[Task] = []
        self._made = ""
        """The task of the entry made last on this screen."""

    def compose(self) -> ComposeResult:
        """Heading, tasks, what is marked, answer, keys."""
        yield from self.frame()
        yield Static(Content.styled(self.heading, STRONG), markup=False, id="title", classes="body")
        yield ChoiceList([], id="tasks")
        yield Static(WAITING, markup=False, id="marked", classes="body")
        yield Static("", markup=False, id="error", classes="body")
        yield self.key_line()

    def key_labels(self) -> KeyLabels:
        """One key for each task that is done here."""
        keys = [("Enter", "do the marked one"), ("a", "air"), ("z", "pressure zero"), ("c", "check balance")]
        keys += [("b", "new bag"), ("f", "new filter"), ("d", "drill")]
        undo = [("u", "undo")] if self._made in KINDS or self._made == "filter" else []
        return [*keys, *undo, ("?", "help"), ("Esc", "back")]

    def on_screen_resume(self, event: ScreenResume) -> None:
        """Asks anew."""
        super().on_screen_resume(event)
        self.run_worker(self._ask(), name="ask what is due", exclusive=True)

    async def _ask(self) -> None:
        reply = await self.console.client.query("shift")
        if not reply.ok:
            self.query_one("#marked", Static).update(literal(reply.text))
            return
        self._answer, self._tasks = reply.data, tasks_of(reply.data)
        width = max(40, self.size.width - 4)
        self.query_one("#tasks", ChoiceList).show_rows([task.row(width) for task in self._tasks])
        self._show_marked()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Says more of the marked one."""
        event.stop()
        self._show_marked()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Enter."""
        event.stop()
        if event.option_index < len(self._tasks):
            self.action_do(self._tasks[event.option_index].task)

    def _show_marked(self) -> None:
        at = self.query_one("#tasks", ChoiceList).highlighted
        if at is None or at >= len(self._tasks):
            return
        task, width = self._tasks[at], max(20, self.size.width - 2)
        self.query_one("#marked", Static).update(page(paragraph(task.how, width, DIM)))

    # doing

    def action_do(self, name: str) -> None:
        """One task; what is done elsewhere is said."""
        start = {
            "air": lambda: self._form(shift_forms.AIR, "air", self._send_air),
            "bag": lambda: self._form(shift_forms.BAG, "bag", partial(self._send_part, "bag")),
            "filter": lambda: self._form(shift_forms.FILTER, "filter", partial(self._send_part, "filter")),
            "drill": lambda: self._form(shift_forms.DRILL, "drill", self._send_drill),
            "zero": lambda: self._at_rest(PressureZeroScreen(self._send_zero)),
            "balance": self._check_balance,
        }.get(name)
        if start is not None:
            start()
        else:
            task = next((each for each in self._tasks if each.task == name), None)
            self._say(Reply(False, task.how if task else "That is not done here."))

    def _form(self, form: Form, name: str, send: Callable[[dict[str, str], str], Awaitable[Reply]]) -> None:
        async def named(values: dict[str, str]) -> Reply:
            by = values.get("by") or self.console.operator
            reply = await send(values, by)
            if reply.ok:
                self._keep(name, by, reply)
            return reply

        self.app.push_screen(FormScreen(shift_forms.with_name(form, self.console.operator), named))

    def _keep(self, name: str, by: str, reply: Reply) -> None:
        self._made, self.console.operator = name, by
        self._say(reply)
        self.refresh_keys()

    def _say(self, reply: Reply) -> None:
        mark, style = ("✓", GOOD) if reply.ok else ("✗", BAD)
        self.query_one("#error", Static).update(Content.styled(f"{mark} {literal(reply.text)}", style))

    async def _send_air(self, values: dict[str, str], by: str) -> Reply:
        return await shift_forms.enter_air(self.console.client.command, values, by)

    async def _send_part(self, part: str, values: dict[str, str], by: str) -> Reply:
        entry = {"part": part, "note": values["note"]}
        return await shift_forms.enter(self.console.client.command, "part_changed", entry, by)

    async def _send_drill(self, values: dict[str, str], by: str) -> Reply:
        entry = {"note": values["note"]}
        return await shift_forms.enter(self.console.client.command, "restore_drilled", entry, by)

    async def _send_zero(self, zero_pa: float) -> Reply:
        by = self.console.operator
        reply = await shift_forms.enter(
            self.console.client.command, "pressure_zeroed", {"zero_pa": zero_pa}, by
        )
        if reply.ok:
            self._keep("zero", by, reply)
        return reply

    def _check_balance(self) -> None:
        weights = weights_of(self._answer)
        if not weights:
            self._say(Reply(False, "The bench file names no check weight: add one under [[checks.weights]]."))
            return
        self._at_rest(BalanceCheckScreen(weights, self._send_check))

    async def _send_check(self, entry: dict[str, Any]) -> Reply:
        by = self.console.operator
        reply = await shift_forms.enter(self.console.client.command, "balance_checked", entry, by)
        if reply.ok:
            self._keep("", by, reply)
        return reply

    def _at_rest(self, screen: BoardScreen) -> None:
        """Screens that read an instrument: the name first where nobody has said it; never during a run."""
        board = self.console.board
        run = None if board is None else board.snapshot.run
        if run is not None and run.result is None:
            self._say(Reply(False, "A run is on the bench: finish it first."))
        elif self.console.operator:
            self.app.push_screen(screen)
        else:
            form = Form("WHO ARE YOU?", ("The register keeps who checked.",), (shift_forms.NAME,), "go on")
            self.app.push_screen(FormScreen(form, partial(self._named, screen)))

    async def _named(self, screen: BoardScreen, values: dict[str, str]) -> Reply:
        self.console.operator = values["by"]
        self.call_after_refresh(self.app.push_screen, screen)
        return Reply(True, f"Entries are made by {values['by']}.")

    # undoing

    def action_undo(self) -> None:
        """Withdraws the entry made last here, with a reason."""
        kind = KINDS.get("bag" if self._made == "filter" else self._made)
        if kind is None:
            self._say(Reply(False, "Nothing was entered here that can be withdrawn."))
            return

        async def send(values: dict[str, str]) -> Reply:
            command, by = self.console.client.command, self.console.operator
            reply = await shift_forms.enter(command, "entry_withdrawn", {"kind": kind}, by, values["why"])
            if reply.ok:
                self._keep("", by, reply)
            return reply

        self.app.push_screen(FormScreen(shift_forms.WITHDRAW, send))

    def refresh_keys(self) -> None:
        """The keys of now."""
        self.query_one("#form-keys", KeyLine).refresh_labels()

    def action_leave(self) -> None:
        """Back to the bench."""
        self.dismiss()
