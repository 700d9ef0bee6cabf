"""Text from outside, made safe to show: literal, printable, no wider than its place.

Ids, instrument lines and errors may hold anything: escape sequences, bidi marks, ten thousand letters.
What cannot be seen is shown as its escape; what is too long ends with an ellipsis.
"""

from __future__ import annotations

import unicodedata

ELLIPSIS = "…"
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Control, format (bidi, zero width), surrogate, private, unassigned, line and paragraph separators."""


def literal(text: str, limit: int = 400) -> str:
    """The text with everything unseen escaped, at most `limit` cells wide."""
    return fit("".join(map(_shown, text[: limit + 1])), limit)


def _shown(char: str) -> str:
    if " " <= char <= "~":
        return char
    if unicodedata.category(char) not in _HIDDEN:
        return " " if char.isspace() else char
    code = ord(char)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def printable(text: str) -> bool:
    """Whether nothing in the text is unseen."""
    return all(" " <= char <= "~" or unicodedata.category(char) not in _HIDDEN for char in text)


def cells(text: str) -> int:
    """How many terminal cells the text takes."""
    return len(text) if text.isascii() else sum(map(_char_cells, text))


def _char_cells(char: str) -> int:
    if unicodedata.combining(char) or unicodedata.category(char) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def fit(text: str, width: int) -> str:
    """The text in at most `width` cells, ended by an ellipsis when cut."""
    if cells(text) <= width:
        return text
    kept: list[str] = []
    room = width - 1
    for char in text:
        room -= _char_cells(char)
        if room < 0:
            break
        kept.append(char)
    return "".join(kept) + ELLIPSIS if width > 0 else ""


def pad(text: str, width: int) -> str:
    """The text fitted and filled with spaces to exactly `width` cells."""
    fitted = fit(text, width)
    return fitted + " " * (width - cells(fitted))


def wrap(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` cells, broken at spaces; longer words are broken anywhere."""
    if width < 1:
        return []
    lines: list[str] = []
    line = ""
    for word in text.split():
        while cells(word) > width:
            if line:
                lines.append(line)
                line = ""
            head = _head(word, width)
            lines.append(head)
            word = word[len(head) :]
        joined = f"{line} {word}" if line and word else line or word
        if cells(joined) <= width:
            line = joined
        else:
            lines.append(line)
            line = word
    return [*lines, line] if line else lines


def _head(word: str, width: int) -> str:
    """As many leading characters as fit, at least one."""
    used = 0
    for index, char in enumerate(word):
        used += _char_cells(char)
        if used > width and index:
            return word[:index]
    return word
