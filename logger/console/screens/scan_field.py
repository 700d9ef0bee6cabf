"""An input line that takes only what can be seen, from a keyboard, a scanner or the clipboard.

The library's own input shows escape sequences and direction marks as they are. What is not taken is
refused whole, with a sentence: an id must not be altered silently.
"""

from __future__ import annotations

from textual.events import Paste
from textual.message import Message
from textual.widgets import Input

from logger.console.forms import FIELD_LIMIT
from logger.console.literal import literal, printable


class ScanField(Input):
    """A compact input line of at most FIELD_LIMIT characters."""

    class Refused(Message):
        """Something was not taken; `sentence` says why."""

        def __init__(self, sentence: str) -> None:
            super().__init__()
            self.sentence = sentence

    def __init__(self, initial: str, example: str, *, id: str, secret: bool = False) -> None:
        super().__init__(
            literal(initial, FIELD_LIMIT),
            placeholder=example,
            max_length=FIELD_LIMIT,
            password=secret,
            compact=True,
            select_on_focus=True,
            id=id,
        )

    def _on_paste(self, event: Paste) -> None:
        """Takes pasted text whole (the library would cut it at a separator); a line end is Enter."""
        event.prevent_default()
        event.stop()
        text = event.text.rstrip("\r\n")
        self.replace(text, *self.selection)
        if text != event.text and self.value.endswith(text):
            self.call_later(self.action_submit)

    def replace(self, text: str, start: int, end: int) -> None:
        """Takes the text in place of what is between start and end, or refuses it."""
        if printable(text):
            super().replace(text, start, end)
        else:
            self.post_message(
                self.Refused("It held characters that cannot be shown, and was not taken. Type it by hand.")
            )

    def restricted(self) -> None:
        """Too long."""
        self.post_message(self.Refused(f"Longer than {FIELD_LIMIT} characters, and was not taken."))
