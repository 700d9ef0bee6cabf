"""Passwords from a person: typed without echo, or from a file that nobody else can read. Never an argument."""

from __future__ import annotations

import getpass
import os
import stat
import sys
from pathlib import Path

from logger.core.run.commands import Refused

NO_TERMINAL = (
    "There is no terminal to type a password at: give the name of a file that only you can read "
    "(--password-file, and --new-password-file for a new one)."
)
NOT_UTF8 = "What was typed is not UTF-8 text: set the terminal to UTF-8, then try again. Nothing was changed."


def ask_password(whose: str, file: Path | None) -> str:
    """The password of who acts. Raises Refused."""
    return _typed(f"Password of {whose}: ") if file is None else from_file(file)


def ask_new_password(whose: str, file: Path | None) -> str:
    """A new password, typed twice. Raises Refused."""
    if file is not None:
        return from_file(file)
    first = _typed(f"New password or PIN of {whose}: ")
    if first != _typed("The same again: "):
        raise Refused("The two were not the same: nothing was changed.")
    return first


def from_file(path: Path) -> str:
    """The first line of a file with mode 0600. Raises Refused."""
    try:
        with path.open(encoding="utf-8") as file:
            mode = os.fstat(file.fileno()).st_mode
            if os.name == "posix" and stat.S_IMODE(mode) & 0o077:
                raise Refused(
                    f"{path}: other users can read this password (mode {stat.S_IMODE(mode):04o}). "
                    f"Run: chmod 600 {path}"
                )
            text = file.readline().removesuffix("\n").removesuffix("\r")
    except (OSError, UnicodeDecodeError):
        raise Refused(f"{path}: the password file cannot be read as UTF-8 text.") from None
    if not text:
        raise Refused(f"{path}: the password is missing in its first line.")
    return text


def _typed(prompt: str) -> str:
    if not sys.stdin.isatty():
        raise Refused(NO_TERMINAL)
    try:
        return getpass.getpass(prompt)
    except EOFError:
        raise Refused("No password was typed: nothing was changed.") from None
    except UnicodeDecodeError:
        # The error holds what was typed: it must not be chained to anything that is shown.
        raise Refused(NOT_UTF8) from None
