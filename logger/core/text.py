"""Text that people type or scan: bounded, normalised, and free of what could fool a screen or a file."""

from __future__ import annotations

import unicodedata

from logger.core.run.commands import Refused

_FORBIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Control, format (bidirectional marks, zero width), surrogates, private, unassigned, line and paragraph separators."""


def clean_text(name: str, value: object, longest: int) -> str:
    """`value` as NFC without blanks at the ends. Raises Refused that names the field and the character."""
    if not isinstance(value, str):
        raise Refused(f"{name} must be text.")
    text = unicodedata.normalize("NFC", value).strip()
    if len(text) > longest:
        raise Refused(f"{name} has {len(text)} characters; at most {longest} are allowed.")
    for place, char in enumerate(text, start=1):
        if unicodedata.category(char) in _FORBIDDEN:
            raise Refused(f"{name}: character {place} (U+{ord(char):04X}) cannot be printed; leave it out.")
    return text


def printable(text: str) -> str:
    """`text` for a terminal: characters that could move the cursor or hide are shown as escapes."""
    return "".join(
        char if unicodedata.category(char) not in _FORBIDDEN else f"\\u{ord(char):04x}" for char in text
    )
