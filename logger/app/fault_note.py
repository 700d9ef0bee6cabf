"""A fault of the program itself: a sentence for the person, the traceback in a file for whoever mends it."""

from __future__ import annotations

import errno
import os
import sys
import tempfile
import traceback

import logger

_OF_THE_PLACE = frozenset(
    getattr(errno, name)
    for name in (
        *("EACCES", "EPERM", "EROFS", "ENOSPC", "EDQUOT", "EFBIG", "ENOENT", "EEXIST", "ENOTDIR", "EISDIR"),
        *("ENAMETOOLONG", "ELOOP", "EMFILE", "ENFILE", "EIO"),
    )
    if hasattr(errno, name)
)


def place_sentence(error: BaseException) -> str:
    """For what the system refused, which is no fault of the program; empty for anything else."""
    if isinstance(error, MemoryError):
        return "There is not enough memory for this."
    if not isinstance(error, OSError) or error.errno not in _OF_THE_PLACE:
        return ""
    if error.filename is None:
        return f"The output or a file cannot be written: {error.strerror}."
    return f"{os.fsdecode(error.filename)}: {error.strerror}. Choose another place, or have it opened to you."


def fault_sentence(error: BaseException) -> str:
    """Says what to do, and where the traceback was written; alone where no file can be made."""
    where = _noted(error)
    kept = f" What a developer needs is in {where}: send it with what you did." if where else ""
    return (
        f"This is a fault of the program ({type(error).__name__}), not yours; the command was given up. "
        f"`lastgrain doctor` and `lastgrain runs verify` tell whether all else is well.{kept}"
    )


def _noted(error: BaseException) -> str:
    """The file's name, empty where it cannot be written. Only this user can read it."""
    try:
        handle, path = tempfile.mkstemp(prefix="lastgrain-fault-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as stream:
            stream.write(f"lastgrain {logger.__version__}, Python {sys.version}\n")
            stream.writelines(traceback.format_exception(error))
    except OSError:
        return ""
    return path
