"""What a password must be, and how long to wait after wrong ones. Nothing here sees a kept secret."""

from __future__ import annotations

import unicodedata
from datetime import datetime

from logger.core.refusal import require
from logger.core.run.commands import Refused

LEAST_PASSWORD, LEAST_PIN, LONGEST = 8, 6, 120
FREE_TRIES = 3
"""Wrong passwords in a row that cost nothing: people mistype."""
FIRST_WAIT_S, LONGEST_WAIT_S = 5.0, 900.0


def read_password(given: object) -> str:
    """A new password or PIN, normalised. Raises `ResultError`, Refused; the text itself is never said."""
    require(isinstance(given, str) and bool(given), "the password is missing")
    text = normal_password(str(given))
    require(len(text) <= LONGEST, f"a password has at most {LONGEST} characters")
    if text.isascii() and text.isdigit():
        require(len(text) >= LEAST_PIN, f"a PIN has at least {LEAST_PIN} digits")
        require(len(set(text)) > 2, "a PIN has more than two different digits")
    else:
        require(len(text) >= LEAST_PASSWORD, f"a password has at least {LEAST_PASSWORD} characters")
    return text


def normal_password(text: str) -> str:
    """The same letters typed on another keyboard are the same password (NFC). Raises Refused for what is no text."""
    if any(unicodedata.category(char) == "Cs" for char in text):
        raise Refused(
            "The password holds what is no character: set the terminal to UTF-8, then type it again."
        )
    return unicodedata.normalize("NFC", text)


def wait_after_s(failures: int) -> float:
    """How long to wait after so many wrong ones in a row, s: 0 at first, then 5 s, doubling to 15 min."""
    if failures < FREE_TRIES:
        return 0.0
    return float(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2 ** min(failures - FREE_TRIES, 20)))


def wait_left_s(failures: int, failed_utc: str, utc: str) -> float:
    """What is left of the wait, s. A clock that was set back makes nobody wait longer than the whole."""
    whole_s = wait_after_s(failures)
    if whole_s == 0.0:
        return 0.0
    try:
        past_s = (datetime.fromisoformat(utc) - datetime.fromisoformat(failed_utc)).total_seconds()
    except ValueError:
        return whole_s
    return max(0.0, whole_s - max(0.0, past_s))


def wait_text(left_s: float, failures: int) -> str:
    """The sentence about a wait."""
    span = f"{left_s:.0f} s" if left_s < 90 else f"{left_s / 60:.0f} min"
    return f"{failures} wrong passwords in a row: wait {span}, then try again."
