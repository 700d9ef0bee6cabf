"""The signature under a run: who, the password, which is never shown, and why."""

from __future__ import annotations

from textual.widgets import Input

from logger.console.forms import FieldSpec, Form
from logger.console.screens.form_screen import FormScreen, Values

_WHO = (FieldSpec("by", "your id"), FieldSpec("password", "password", secret=True))
"""Id and password are typed in one go: nothing that is shown, or kept for good, stands between them."""


def accept_form(number: int) -> Form:
    """Accepting needs no reason."""
    return Form(
        f"ACCEPT RUN {number}",
        (
            "You sign that you have reviewed this run and accept it.",
            "Your name, the meaning and the time go into its record for good.",
        ),
        (*_WHO, FieldSpec("why", "remark", required=False)),
        "next field, then sign",
    )


def reject_form(number: int) -> Form:
    """A rejection says why."""
    return Form(
        f"REJECT RUN {number}",
        (
            "You sign that you have reviewed this run and reject it. Its figures stay in the record.",
            "Your name, the reason and the time go into its record for good.",
        ),
        (*_WHO, FieldSpec("why", "reason")),
        "next field, then sign",
    )


class SignScreen(FormScreen):
    """A form with a masked field, sent as it was typed; after a refusal it is emptied and asked for again."""

    def values(self) -> Values:
        """Blanks belong to a password."""
        return super().values() | {"password": self._password().value}

    async def _send(self) -> None:
        """A password that was refused does not stay."""
        await super()._send()
        if self.is_attached and self.is_current:
            self._password().value = ""
            self._password().focus()

    def _password(self) -> Input:
        return self.query_one("#field-password", Input)
