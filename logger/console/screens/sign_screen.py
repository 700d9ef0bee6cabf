"""The signature under a run: who, why, and the password, which is never shown."""

from __future__ import annotations

from textual.widgets import Input

from logger.console.forms import FieldSpec, Form
from logger.console.screens.form_screen import FormScreen, Values

_PASSWORD = FieldSpec("password", "password", secret=True)


def accept_form(number: int) -> Form:
    """Accepting needs no reason."""
    return Form(
        f"ACCEPT RUN {number}",
        (
            "You sign that you have reviewed this run and accept it.",
            "Your name, the meaning and the time go into its record for good.",
        ),
        (FieldSpec("by", "your id"), FieldSpec("why", "remark", required=False), _PASSWORD),
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
        (FieldSpec("by", "your id"), FieldSpec("why", "reason"), _PASSWORD),
        "next field, then sign",
    )


class SignScreen(FormScreen):
    """A form whose last field is masked, sent as it was typed, and emptied after every answer."""

    def values(self) -> Values:
        """Blanks belong to a password."""
        return super().values() | {"password": self._password().value}

    def say(self, sentence: str) -> None:
        """What is wrong; a wrong password does not stay."""
        super().say(sentence)
        self._password().value = ""

    def _password(self) -> Input:
        return self.query_one("#field-password", Input)
