"""An input line that takes only what can be seen, from a keyboard, a scanner or the clipboard.

The library's own input shows escape sequences and direction marks as they are. What is not taken is
refused whole, with a sentence: an id must not be altered silently.

A slow line or a scanner delivers many keys in one go, Enter among them. The library would put what follows
Enter into the field that is left; here it waits until the form has gone on.
"""

from __future__ import annotations

import math
import time

from textual.events import Focus, Key, Paste
from textual.message import Message
from textual.widgets import Input

from logger.console.forms import FIELD_LIMIT
from logger.console.literal import literal, printable

AHEAD_S = 0.3
"""Keys that come so soon after Enter belong to where the form goes next."""


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
        self._entered_at = -math.inf

    def stay(self) -> None:
        """The form does not go on: keys are for this field again."""
        self._entered_at = -math.inf

    def _on_focus(self, event: Focus) -> None:
        """Back here, by whatever way."""
        self.stay()

    async def _on_key(self, event: Key) -> None:
        """Enter at once, in its place among the keys; what follows it goes round until the form has gone on."""
        if time.monotonic() - self._entered_at < AHEAD_S:
            self._turn_away(event)
            self.app.post_message(Key(event.key, event.character))
        elif event.key == "enter":
            self._turn_away(event)
            self._entered_at = time.monotonic()
            await self.action_submit()

    def _turn_away(self, event: Key) -> None:
        event.stop()
        event.prevent_default()

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
