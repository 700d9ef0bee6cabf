"""A run that is reviewed: all its pages, a signature under what is shown, and never under what changed meanwhile."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.events import ScreenResume

from logger.console.answers import text_of
from logger.console.console import KeyLabels
from logger.console.kept import KeptRun
from logger.console.screens.form_screen import Values
from logger.console.screens.key_line import KeyLine
from logger.console.screens.run_screen import PAGES, RunScreen, stands_now
from logger.console.screens.sign_screen import SignScreen, accept_form, reject_form
from logger.service.client import Reply


class ReviewRunScreen(RunScreen):
    """One run with all its pages, and two keys more: accept and reject."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("a,A", "sign('accept')", show=False),
        Binding("x,X", "sign('reject')", show=False),
        Binding("enter", "read_again", show=False),
    ]
    about = (
        "Look at numbers, decision, deviations and events, then sign.",
        "What is signed is the revision that is shown: if it has changed meanwhile, the signature is refused.",
    )

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self._newer: KeptRun | None = None
        """The run as it is kept now, while what is shown is older: nobody signs what changed under their eyes."""
        self._signed = False
        self._page = [each.word for each in PAGES].index("numbers")

    def key_labels(self) -> KeyLabels:
        """Signing first."""
        if self._newer is not None:
            return [("Enter", "read again"), *super().key_labels()]
        signing = [("a", "accept"), ("x", "reject")] if self._waits() else []
        return [*signing, *super().key_labels()]

    def key_help(self) -> KeyLabels:
        """The same in sentences."""
        return [
            ("a", "Sign that you have reviewed this run and accept it; asks for your id and password."),
            ("x", "Sign that you reject it, with the reason."),
            *super().key_help(),
        ]

    def action_sign(self, do: str) -> None:
        """Asks who and with which password."""
        record = self._run.record if self._run is not None else {}
        if self._newer is not None:
            return
        if not record:
            self._say(Reply(False, "There is no record to sign yet."))
            return
        if not self._waits():
            self._say(
                Reply(False, "This run waits for no review: correct it first, if it is to be reviewed again.")
            )
            return
        seen = text_of(record.get("record_sha256"), 64)

        async def send(values: Values) -> Reply:
            reply = await self.console.client.command(
                "review", do=do, run=str(self._number), seen=seen, **values
            )
            if reply.ok:
                self._told, self._signed = reply, True
            return reply

        form = accept_form(self._number) if do == "accept" else reject_form(self._number)
        self.app.push_screen(SignScreen(form, send))

    def _waits(self) -> bool:
        return self._run is None or self._run.row.review == "unreviewed"

    def on_screen_resume(self, event: ScreenResume) -> None:
        """Signed, perhaps, or refused since somebody else was first: the record is asked for again."""
        super().on_screen_resume(event)
        if self.ready:
            self._ask()

    def changed(self, newer: KeptRun) -> None:
        """By the signature that was just given here, or elsewhere: then it is read first."""
        if self._signed:
            self._signed = False
            self.take(newer)
        else:
            self._newer = newer
            self.query_one("#form-keys", KeyLine).refresh_labels()

    def take(self, run: KeptRun) -> None:
        """What is shown is what is kept."""
        super().take(run)
        self._newer = None
        self.query_one("#form-keys", KeyLine).refresh_labels()

    def action_read_again(self) -> None:
        """Shows the run as it is kept now."""
        if self._newer is not None:
            self._told = None
            self.take(self._newer)
            self.fill()

    def told(self) -> Reply | None:
        """That the page is old, as long as it is."""
        if self._newer is None:
            return super().told()
        return Reply(False, f"This page is old: {stands_now(self._newer)}. Enter reads it again.")
