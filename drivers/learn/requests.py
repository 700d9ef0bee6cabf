"""Requests that may be sent to an unknown instrument: none of them can change a setting.

Only line ends, a question mark and the enquiry character of the international code (ENQ, ISO/IEC 646). A person
may add others from the manual; what could be a frame of a bus, which can write to a register, is refused: a frame
has a function code below 32 in its second byte, and here only a carriage return or line feed at the end, or a
single ENQ, is below 32.
"""

from __future__ import annotations

import re
from typing import Final

HARMLESS: Final = (b"\r\n", b"\r", b"\n", b"?\r\n", b"\x05")
LONGEST: Final = 32
_ALLOWED: Final = re.compile(rb"[ -~]*(?:\r\n|\r|\n)?|\x05")


class RequestRefused(ValueError):  # noqa: N818
    """A request that is not sent; the text is a sentence."""


def request_of(text: str) -> bytes:
    r"""The bytes of a request as a person types it, with \r and \n for line ends. Raises RequestRefused."""
    typed = text.replace("\\r", "\r").replace("\\n", "\n")
    if not typed.isascii() or not 1 <= len(typed) <= LONGEST or not _ALLOWED.fullmatch(typed.encode("ascii")):
        raise RequestRefused(
            f"the request {text!r} is not sent: write 1 to {LONGEST} printable ASCII characters with \\r, \\n or \\r\\n "
            "at the end"
        )
    return typed.encode("ascii")
