"""Planned samples: scan one or choose it, and Enter begins its run with everything filled in."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.content import Content
from textual.events import ScreenResume
from textual.widgets import Input, OptionList, Static

from logger.console import shift_forms
from logger.console.console import KeyLabels
from logger.console.forms import FieldSpec, Form
from logger.console.literal import literal
from logger.console.panels.ink import BAD, DIM, GOOD, STRONG, page, paragraph
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.choice_list import ChoiceList
from logger.console.screens.form_screen import FormScreen
from logger.console.screens.key_line import KeyLine
from logger.console.screens.scan_field import ScanField
from logger.console.shift_rows import PlannedRow, planned_heading, planned_of
from logger.service.client import Reply

OPEN = ("planned", "started")
NONE_PLANNED = "No sample is planned. Import some: lastgrain worklist import FILE"


class WorklistScreen(BoardScreen):
    """The field on top takes a scanner; the list below it is narrowed by what stands in the field."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("down", "move(1)", show=False, priority=True),
        Binding("up", "move(-1)", show=False, priority=True),
        Binding("ctrl+x", "withdraw", show=False, priority=True),
        Binding("ctrl+z", "restore", show=False, priority=True),
        Binding("ctrl+t", "show_all", show=False, priority=True),
    ]
    AUTO_FOCUS = "#scan"
    heading = "WORKLIST"
    about = (
        "In order of priority (1 first), then of what is due. Samples come from lastgrain worklist import FILE.",
        "A sample is done when every determination that its method asks for reached its endpoint. A run that was "
        "aborted leaves it planned.",
    )

    def __init__(self) -> None:
        super().__init__()
        self._rows: list[PlannedRow] = []
        self._everything = False
        self._withdrawn: PlannedRow | None = None
        """What was withdrawn last on this screen."""

    def compose(self) -> ComposeResult:
        """Field, list, what is marked, answer, keys."""
        yield from self.frame()
        yield Static(Content.styled(self.heading, STRONG), markup=False, id="title", classes="body")
        with Horizontal(classes="field body"):
            yield Static("sample", markup=False, classes="label")
            yield ScanField("", "scan, or type a part of it", id="scan")
        yield Static("", markup=False, id="columns", classes="body")
        yield ChoiceList([], id="planned")
        yield Static("Asking the service …", markup=False, id="marked", classes="body")
        yield Static("", markup=False, id="error", classes="body")
        yield self.key_line()

    def key_labels(self) -> KeyLabels:
        """Letters are for the field, so that commands have Ctrl."""
        shown = "open only" if self._everything else "all"
        return [
            ("Enter", "start its run"),
            ("↑ ↓", "choose"),
            ("Ctrl+X", "withdraw"),
            ("Ctrl+Z", "put back"),
            ("Ctrl+T", f"show {shown}"),
            ("F1", "help"),
            ("Esc", "back"),
        ]

    # the list

    def on_screen_resume(self, event: ScreenResume) -> None:
        """Asks anew."""
        super().on_screen_resume(event)
        self.run_worker(self._ask(), name="ask for the worklist", exclusive=True)

    async def _ask(self) -> None:
        reply = await self.console.client.query("worklist")
        if reply.ok:
            self._rows = planned_of(reply.data)
            self._fill()
        else:
            self.query_one("#marked", Static).update(literal(reply.text))

    def _shown(self) -> list[PlannedRow]:
        wanted = self.query_one("#scan", Input).value.strip().lower()
        return [
            row
            for row in self._rows
            if (self._everything or row.state in (*OPEN, "running"))
            and (wanted in row.sample_id.lower() or wanted in row.lot.lower())
        ]

    def _fill(self) -> None:
        width = max(60, self.size.width - 4)
        heading = Content.styled(planned_heading(width), DIM)
        self.query_one("#columns", Static).update(heading)
        self.query_one("#planned", ChoiceList).show_rows([row.row(width) for row in self._shown()])
        self._show_marked()

    def _marked(self) -> PlannedRow | None:
        at, rows = self.query_one("#planned", ChoiceList).highlighted, self._shown()
        return rows[at] if at is not None and at < len(rows) else None

    def _show_marked(self) -> None:
        row, width = self._marked(), max(20, self.size.width - 2)
        if row is None:
            words = "No planned sample fits." if self._rows else NONE_PLANNED
            self.query_one("#marked", Static).update(words)
            return
        parts = [f"item {row.item}: {literal(row.sample_id, 64)}"]
        parts += [f"lot {literal(row.lot, 40)}"] if row.lot else []
        parts += [f"point {literal(row.point, 40)}"] if row.point else []
        parts += [f"sampled {literal(row.sampled_at, 20)}"] if row.sampled_at else []
        parts += [f"sieve {literal(row.sieve_id, 20)}"] if row.sieve_id else []
        lines = paragraph(", ".join(parts), width, DIM) + (paragraph(row.text, width) if row.text else [])
        self.query_one("#marked", Static).update(page(lines[:3]))

    def on_input_changed(self, event: Input.Changed) -> None:
        """Narrows the list."""
        event.stop()
        self._fill()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Says more of the marked one."""
        event.stop()
        self._show_marked()

    def action_move(self, rows: int) -> None:
        """Moves the mark while the field keeps the focus."""
        planned = self.query_one("#planned", ChoiceList)
        if rows > 0:
            planned.action_cursor_down()
        else:
            planned.action_cursor_up()

    def action_show_all(self) -> None:
        """Open items only, or all."""
        self._everything = not self._everything
        self._fill()
        self.query_one("#form-keys", KeyLine).refresh_labels()

    # starting

    def on_scan_field_refused(self, event: ScanField.Refused) -> None:
        """What was not taken is said."""
        self._say(Reply(False, event.sentence))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter, by hand or by a scanner: the very sample, else the marked one."""
        event.stop()
        scanned = event.value.strip()
        very = [row for row in self._shown() if row.sample_id == scanned]
        row = very[0] if very else self._marked()
        if row is None:
            words = f"Sample {literal(scanned, 40)} is not planned" if scanned else "No sample is planned"
            self._say(Reply(False, f"{words}: start it as a new run from the bench (n)."))
        elif len(very) > 1:
            self._say(
                Reply(False, f"Sample {literal(scanned, 40)} is planned {len(very)} times: choose one.")
            )
            event.input.clear()
        else:
            self._start(row)

    def _start(self, row: PlannedRow) -> None:
        board = self.console.board
        if row.state not in OPEN:
            self._say(Reply(False, f"Item {row.item} is {row.state}."))
        elif board is None or not board.answering or "start" not in board.snapshot.can:
            self._say(Reply(False, "A run is on the bench: finish it first."))
        else:
            self.dismiss()
            self.console.new_run(row.fill())

    # withdrawing and putting back

    def action_withdraw(self) -> None:
        """Takes the marked one off the list, with a reason."""
        row = self._marked()
        if row is None or row.state not in OPEN:
            self._say(Reply(False, "Mark a planned sample that is not done yet."))
            return
        lines = (f"Item {row.item}, sample {literal(row.sample_id, 60)}.", "It is kept, with the reason.")
        fields = (FieldSpec("why", "reason"),)
        form = shift_forms.with_name(
            Form("WITHDRAW A PLANNED SAMPLE", lines, fields, "withdraw it"), self.console.operator
        )

        async def send(values: dict[str, str]) -> Reply:
            return await self._enter("sample_withdrawn", row, values.get("by", ""), values["why"])

        self.app.push_screen(FormScreen(form, send))

    def action_restore(self) -> None:
        """Puts back what was withdrawn last here, or the marked one when it is withdrawn."""
        marked = self._marked()
        row = marked if marked is not None and marked.state == "withdrawn" else self._withdrawn
        if row is None:
            self._say(Reply(False, "Nothing was withdrawn here: show all, and mark the sample."))
        elif self.console.operator:
            self.run_worker(self._put_back(row), name="put back")
        else:
            self._say(Reply(False, "Say who you are first: take the controls on the bench (k)."))

    async def _put_back(self, row: PlannedRow) -> None:
        await self._enter("sample_restored", row, "", "withdrawn by mistake")
        await self._ask()

    async def _enter(self, kind: str, row: PlannedRow, by: str, why: str) -> Reply:
        person = by or self.console.operator
        reply = await shift_forms.enter(self.console.client.command, kind, {"item": row.item}, person, why)
        if reply.ok:
            self.console.operator = person
            self._withdrawn = row if kind == "sample_withdrawn" else None
        self._say(reply)
        return reply

    def _say(self, reply: Reply) -> None:
        self.query_one("#scan", ScanField).stay()
        mark, style = ("✓", GOOD) if reply.ok else ("✗", BAD)
        self.query_one("#error", Static).update(Content.styled(f"{mark} {literal(reply.text)}", style))

    def action_leave(self) -> None:
        """Back to the bench."""
        self.dismiss()
