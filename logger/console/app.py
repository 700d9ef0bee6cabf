"""The console app: follows the service, routes keys to commands and forms. Draws nothing itself."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Awaitable, Callable, Mapping
from functools import partial
from typing import Any, ClassVar

from textual.app import App
from textual.binding import Binding, BindingType
from textual.theme import Theme

from logger.console import forms
from logger.console.awaited import SENTENCES, AwaitedWeight, awaited
from logger.console.console import WriteReport
from logger.console.earlier import Compared
from logger.console.forms import Form, fill_of
from logger.console.keys import NOTE_KINDS, NOTE_TEXTS, USES, applies, step
from logger.console.panels.board import Board, View
from logger.console.panels.ink import BLUE, ORANGE
from logger.console.screens.bench_screen import BenchScreen
from logger.console.screens.board_screen import BoardScreen
from logger.console.screens.cautions_screen import CautionsScreen
from logger.console.screens.confirm_screen import ConfirmScreen
from logger.console.screens.events_screen import EventsScreen
from logger.console.screens.form_screen import FormScreen, Values
from logger.console.screens.help_screen import HelpScreen
from logger.console.screens.new_run_screen import NewRunScreen
from logger.console.screens.places_screen import PlacesScreen
from logger.console.screens.wait_screen import WaitScreen
from logger.console.terminal import takes_more
from logger.core.run.repeats import NEEDS_REASON
from logger.service.client import Reply, ServiceClient, Watch

REPLY_SHOWN_S = 6.0
NOT_SEEN = math.inf
OUTPUT = 2
"""The descriptor that the library draws on."""
LEAVE = "Leave this console? The service goes on, and so does a run."
LEAVE_AND_END = "Leave the demo? Its bench ends with it, and so does a run under way."
COLOURS = Theme(
    name="lastgrain",
    primary=BLUE,
    secondary=BLUE,
    accent=BLUE,
    warning=ORANGE,
    error=ORANGE,
    success=BLUE,
    foreground="#e6edf3",
    background="#0d1117",
    surface="#0d1117",
    panel="#161b22",
    dark=True,
)


class ConsoleApp(App[int]):
    """One watcher of one bench."""

    CSS_PATH = "console.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("ctrl+c,ctrl+q", "leave_now", show=False, priority=True, system=True),
        Binding("f1,question_mark", "help", show=False),
    ]
    ENTER_AFTER_S = 0.5
    """An instruction must have been on the screen, and Enter left alone, this long before Enter acts on
    it: a key held down, or one press too many, accepts nothing that nobody has read."""

    def __init__(
        self,
        client: ServiceClient,
        operator: str | None = None,
        write_report: WriteReport | None = None,
        *,
        lasting: bool = True,
    ) -> None:
        super().__init__(ansi_color="NO_COLOR" in os.environ or None)
        self._leaving = LEAVE if lasting else LEAVE_AND_END
        self.client = client
        self.write_report = write_report
        self.operator = operator or ""
        self.board: Board | None = None
        self._compared = Compared(client)
        self._view: View | None = None
        self._last_method = ""
        self._reply: Reply | None = None
        self._reply_at = 0.0
        self._asked: object = None
        self._asked_at = 0.0
        self._enter_at = 0.0
        self._sending = False
        self._awaited: AwaitedWeight | None = None
        self._cautions_wanted = False
        """A run was started here: its cautions are shown as soon as they are due."""

    def on_mount(self) -> None:
        """Starts to follow the service."""
        self.register_theme(COLOURS)
        if "NO_COLOR" not in os.environ:
            self.theme = COLOURS.name
        self.push_screen(WaitScreen())
        self.run_worker(self.client.run(), name="service client")
        self.run_worker(self._follow(), name="follow the service")

    async def _follow(self) -> None:
        async for watch in self.client.changes():
            self._take(watch)

    def on_unmount(self) -> None:
        """Nothing more is asked."""
        self._compared.close()

    def _take(self, watch: Watch) -> None:
        if not self.is_running:
            return
        if watch.snapshot is None:
            if isinstance(self.screen, WaitScreen):
                self.screen.say(watch.problem)
            return
        if watch.answering:
            self._compared.take(watch.snapshot, watch.history)
        asked = (watch.snapshot.state, watch.snapshot.instruction.key)
        if asked != self._asked:
            self._asked, self._asked_at = asked, NOT_SEEN
        self.board = Board(
            snapshot=watch.snapshot,
            answering=watch.answering,
            age_s=watch.age_s or 0.0,
            problem=watch.problem,
            trace=self._compared.trace,
            reply=self._reply if time.monotonic() - self._reply_at < REPLY_SHOWN_S else None,
            earlier=self._compared.earlier,
            view=self._view,
        )
        if isinstance(self.screen, WaitScreen):
            self.switch_screen(BenchScreen())
        self._look_for_awaited(watch)
        self._show_if_taken()
        if self._cautions_wanted and "acknowledge" in self.board.snapshot.can and self.screen.id == "bench":
            self._cautions_wanted = False
            self._cautions()

    def _show_if_taken(self) -> None:
        """The newest picture, unless the terminal is still busy with an older one: keys must not wait for it."""
        if self.is_headless or takes_more(OUTPUT):
            self._show()
            if self._asked_at == NOT_SEEN:
                self._asked_at = time.monotonic()

    def _show(self) -> None:
        if self.board is not None and isinstance(self.screen, BoardScreen) and self.screen.ready:
            self.screen.show(self.board)

    def say(self, reply: Reply) -> None:
        """Shows an answer for a while."""
        self._reply, self._reply_at = reply, time.monotonic()
        if self.board is not None:
            self.board.reply = reply
            self._show()

    # keys

    def use(self, key: str) -> None:
        """Does what the key is for, if it is for anything now."""
        if self.board is None:
            return
        can = self.board.snapshot.can if self.board.answering else ()
        if key == "enter":
            self._use_enter(can)
            return
        if key == "escape":
            self._forget_awaited()
            return
        use = next(each for each in USES if each.key == key)
        if use.needs and not self.board.answering:
            self.say(Reply(False, "The service does not answer; keys that change something are off."))
        elif not applies(use, can) and key != "k":
            self.say(Reply(False, f"{use.label} is not possible now."))
        else:
            self._actions()[key]()

    def _use_enter(self, can: tuple[str, ...]) -> None:
        quiet_since, self._enter_at = max(self._asked_at, self._enter_at), time.monotonic()
        now = step(can)
        if now is None or self._enter_at - quiet_since < self.ENTER_AFTER_S:
            return
        if now[0] == "accept_weight":
            self._accept_weight()
        elif now[0] == "close":
            self.send("close")
        else:
            self.use(now[0])

    def _accept_weight(self) -> None:
        """Takes the weight that is seen; when its stable mark has just gone, waits for that very weight."""
        assert self.board is not None
        self._awaited = awaited(self.board.snapshot, time.monotonic())
        if self._awaited is None:
            self.send("accept_weight")
        else:
            self.say(
                Reply(True, f"Waiting for the balance to rest at {self._awaited.figure}. Esc takes nothing.")
            )

    def _forget_awaited(self) -> None:
        if self._awaited is not None:
            self._awaited = None
            self.say(Reply(True, "Nothing was taken."))

    def _look_for_awaited(self, watch: Watch) -> None:
        if self._awaited is None or watch.snapshot is None:
            return
        found = self._awaited.look(watch.snapshot, time.monotonic()) if watch.answering else "gone"
        if found == "wait":
            return
        waited, self._awaited = self._awaited, None
        if found == "take":
            self.send("accept_weight")
        else:
            self.say(Reply(False, SENTENCES[found].format(figure=waited.figure)))

    def _actions(self) -> dict[str, Callable[[], object]]:
        notes = {key: partial(self._send_note, key) for key in NOTE_TEXTS}
        return {
            **notes,
            "n": self._new_run,
            "c": self._cautions,
            "w": lambda: self._ask(forms.TYPE_WEIGHT, self._type_weight),
            "h": lambda: self._ask_reason("hold"),
            "r": lambda: self._ask_reason("resume"),
            "s": lambda: self._ask_reason("stop"),
            "x": lambda: self._ask_reason("abort"),
            "m": lambda: self._ask(forms.NOTE, self._note),
            "i": lambda: self.send("sieve_care", in_order=True),
            "o": lambda: self._ask(forms.SIEVE_FINDING, partial(self._send_values, "sieve_care")),
            "d": lambda: self.send("lid_deposits"),
            "k": self._controls,
            "e": lambda: self.push_screen(EventsScreen()),
            "v": self._change_view,
            "g": lambda: self.push_screen(PlacesScreen()),
            "?": self.action_help,
            "q": self.action_leave,
        }

    def _change_view(self) -> None:
        if self.board is not None and isinstance(self.screen, BenchScreen):
            self._view = self.board.view = self.screen.next_view(self.board)
            self._show()

    # commands

    def send(self, name: str, **args: Any) -> None:
        """Sends one command and shows the answer; further presses wait for it."""
        if not self._sending:
            self._sending = True
            self.run_worker(self._send(name, args), name=f"send {name}")

    async def _send(self, name: str, args: dict[str, Any]) -> None:
        try:
            self.say(await self.client.command(name, **args))
        finally:
            self._sending = False

    def _send_note(self, key: str) -> None:
        self.send("note", kind=NOTE_KINDS[key], text=NOTE_TEXTS[key])

    def _ask(self, form: Form, send: Callable[[Values], Awaitable[Reply]]) -> None:
        self.push_screen(FormScreen(form, send))

    def _ask_reason(self, command: str) -> None:
        self._ask(forms.REASONS[command], lambda values: self.client.command(command, **values))

    async def _type_weight(self, values: Values) -> Reply:
        return await forms.type_weight(self.client.command, values)

    async def _note(self, values: Values) -> Reply:
        return await self.client.command("note", kind=NOTE_KINDS["m"], text=values["text"])

    async def _send_values(self, name: str, values: Values) -> Reply:
        return await self.client.command(name, **values)

    def _new_run(self) -> None:
        assert self.board is not None
        following = self.board.snapshot.next_run
        self.new_run({} if following is None or following.complete else fill_of(following))

    def new_run(self, fill: Mapping[str, str]) -> None:
        """Opens the form of a new run with these values in it."""
        assert self.board is not None
        methods = self.board.snapshot.methods
        self.push_screen(NewRunScreen(methods, self._last_method, self.operator, self._start, fill))

    async def _start(self, values: Values) -> Reply:
        reply = await self.client.command("start", **values)
        if not reply.ok and NEEDS_REASON in reply.text:
            reply = await self._start_again(reply, values)
        if reply.ok:
            self.operator, self._last_method = values["operator_id"], values["method_id"]
            self._cautions_wanted = True
        return reply

    async def _start_again(self, refused: Reply, values: Values) -> Reply:
        """Asks why the sample is tested again, and starts with the reason."""
        reasons: list[str] = []

        async def take(given: Values) -> Reply:
            reasons.append(given["reason"])
            return Reply(True, "The reason goes into the record.")

        await self.push_screen_wait(FormScreen(forms.repeat(refused.text), take))
        return await self.client.command("start", **values, repeat_reason=reasons[-1]) if reasons else refused

    def _cautions(self) -> None:
        assert self.board is not None
        snapshot = self.board.snapshot
        due = self.board.answering and "acknowledge" in snapshot.can
        name = (snapshot.run.operator_id if snapshot.run else "") or self.operator
        self.push_screen(CautionsScreen(snapshot.cautions, due, name, self._acknowledge))

    async def _acknowledge(self, values: Values) -> Reply:
        return await self.client.command("acknowledge", **values)

    def _controls(self) -> None:
        assert self.board is not None
        snapshot = self.board.snapshot
        if "take_controls" in snapshot.can:
            form = forms.take_controls(self.operator, snapshot.controls_held_by)
            self._ask(form, lambda values: self.client.command("take_controls", **values))
        elif "release_controls" in snapshot.can:
            self.send("release_controls")

    def action_help(self) -> None:
        """The help page of the screen that is on top."""
        screen = self.screen
        if isinstance(screen, BoardScreen) and not isinstance(screen, HelpScreen):
            self.push_screen(HelpScreen(screen.heading, screen.key_help(), screen.about))

    # leaving

    def action_leave(self) -> None:
        """Asks once, then leaves."""
        asked = ConfirmScreen(self._leaving, "leave", "stay")
        self.push_screen(asked, lambda sure: self.exit(0) if sure else None)

    def action_leave_now(self) -> None:
        """Leaves at once, as a signal does."""
        self.exit(130)
