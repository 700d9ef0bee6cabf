"""Texts that a scanner, a keyboard, a file or an instrument might send, for every surface that shows or keeps text.

`KEPT` is taken as it is written (in its composed form) and comes back byte for byte; `REFUSED` is not taken.
"""

from __future__ import annotations

import unicodedata

KEPT: dict[str, str] = {
    "markup": "[bold]sample",
    "markup end": "[/",
    "markup action": "[@click=app.quit]x[/]",
    "markup of an error": "[type=x, v={'a[0]'}]",
    "formula": "=1+1",
    "formula that calls": '=HYPERLINK("http://x","y")',
    "formula plus": "+1",
    "formula minus": "-1",
    "formula at": "@SUM(A1)",
    "formula full width": "＝1+1",
    "element": "<script>alert(1)</script>",
    "attribute": '" onmouseover="x',
    "end of a section": "]]>",
    "link": "[x](javascript:alert(1))",
    "entity": "&lt;&#x0a;",
    "topic wildcards": "+/#",
    "topic of the broker": "$SYS/broker",
    "path up": "../../etc/passwd",
    "path from the root": "/etc/passwd",
    "path of another system": "..\\..\\x",
    "name of a device": "CON",
    "trailing dot": "sample.",
    "hidden file": ".ssh",
    "home": "~/x",
    "option": "--data=/tmp",
    "shell": "$(reboot);`id`|x",
    "statement": "'; DROP TABLE run;--",
    "format": "{0.__class__}%s%n",
    "variable": "${HOME}",
    "separators": "a,b;c\"d'e|f",
    "escape as text": "\\x1b[2J\\u202e",
    "number": "1e999",
    "not a number": "nan",
    "null": "null",
    "emoji": "🧪 7",
    "wide": "試料七",
    "right to left": "عينة",
    "composed later": "e\u0301chantillon",
    "longest": "x" * 64,
}

REFUSED: dict[str, str] = {
    "clear screen": "\x1b[2J\x1b[31mred\x07",
    "escape in one byte": "a\x9b31mb",
    "title of the window": "\x1b]0;x\x07",
    "turned around": "abc\u202edcba",
    "isolated": "\u2066x\u2069",
    "zero width": "x\u200bz",
    "joined": "x\u200dz",
    "byte order mark": "\ufeffx",
    "lone surrogate": "lone\ud800x",
    "nul": "a\x00b",
    "tab": "a\tb",
    "line end": "a\nb",
    "carriage return": "a\rb",
    "next line": "a\x85b",
    "line separator": "a\u2028b",
    "tag": "a\U000e0041b",
    "private": "a\ue000b",
    "no character": "a\uffffb",
    "ten thousand": "x" * 10_000,
}

SCREEN = (
    *(
        KEPT[name]
        for name in ("markup", "markup end", "markup action", "markup of an error", "element", "shell")
    ),
    *(REFUSED[name] for name in ("clear screen", "lone surrogate", "ten thousand")),
    "abc\u202edcba\u2066x\u200bz",
    "e\u0301\U0001f9ea",
    "tab\tnew\nline\rback\x00\x85",
)
"""For screens, which may be handed anything: also what is never taken as an id, such as an instrument's line."""

HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def composed(text: str) -> str:
    """As it is kept: in its composed form."""
    return unicodedata.normalize("NFC", text)


def hidden(text: str) -> list[str]:
    """Characters of a shown text that cannot be seen or would move the cursor; line ends may stand in it."""
    return [f"U+{ord(char):04X}" for char in text if char != "\n" and unicodedata.category(char) in HIDDEN]
