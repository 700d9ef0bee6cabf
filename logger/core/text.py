"""Text that people type or scan: bounded, normalised, and free of what could fool a screen or a file."""

from __future__ import annotations

import json
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
    return "".join(char if unicodedata.category(char) not in _FORBIDDEN else _escape(char) for char in text)


def printable_text(text: str) -> str:
    """The same for text of several lines, which stay lines."""
    return "\n".join(printable(line) for line in text.split("\n"))


def printable_json(value: object) -> str:
    """`value` as JSON for a terminal or a file: nothing hidden stands in it, and it reads back as `value`."""
    return printable_text(json.dumps(value, indent=2, ensure_ascii=False))


def first_hidden(text: str) -> str:
    """The first character that cannot be printed, as U+XXXX; empty when there is none but line ends and tabs."""
    for char in text:
        if char not in "\n\t" and unicodedata.category(char) in _FORBIDDEN:
            return f"U+{ord(char):04X}"
    return ""


def _escape(char: str) -> str:
    """As JSON writes it, so that an escape inside a JSON text is the character again."""
    code = ord(char)
    if code < 0x10000:
        return f"\\u{code:04x}"
    high, low = divmod(code - 0x10000, 0x400)
    return f"\\u{0xD800 + high:04x}\\u{0xDC00 + low:04x}"
