"""What can go wrong with the store, in sentences."""

from __future__ import annotations

import sqlite3
from pathlib import Path


class StoreError(Exception):
    """The store cannot be used or has lost trust; the text names the path and what to do."""


class DamagedError(StoreError):
    """The file is no whole SQLite file any more: it must be set aside."""


class DamagedRunError(StoreError):
    """The journal of one run cannot be read."""


_CAUSES = {
    "SQLITE_FULL": "the disk is full",
    "SQLITE_READONLY": "the disk or the file is read-only",
    "SQLITE_CORRUPT": "a page of the file is damaged",
    "SQLITE_NOTADB": "it is no store any more",
    "SQLITE_CANTOPEN": "the file or its folder cannot be opened",
    "SQLITE_IOERR_FSYNC": "the disk does not confirm what was written",
    "SQLITE_IOERR_SHM": "the disk is full, or it cannot take the small files beside the store",
    "SQLITE_IOERR_WRITE": "the disk refuses to be written, or a file size limit was reached",
}
_DAMAGE = ("SQLITE_CORRUPT", "SQLITE_NOTADB")


def code_name(error: BaseException) -> str:
    """SQLite's name of the error, "" when it has none."""
    return getattr(error, "sqlite_errorname", "") or ""


def is_damage(error: BaseException) -> bool:
    """The file itself is damaged."""
    return isinstance(error, DamagedError) or code_name(error).startswith(_DAMAGE)


def is_disk_error(error: BaseException) -> bool:
    """The disk failed under the file: what the connection believes to be written cannot be trusted."""
    return code_name(error).startswith(("SQLITE_IOERR", *_DAMAGE))


def sentence(path: Path, error: BaseException) -> str:
    """What happened to the file at `path`, without a full stop."""
    name = code_name(error)
    cause = next((text for key, text in _CAUSES.items() if name.startswith(key)), str(error).rstrip("."))
    return str(error).rstrip(".") if isinstance(error, StoreError) else f"{path}: {cause}"


def as_store_error(path: Path, error: sqlite3.Error) -> StoreError:
    """The same failure as one for people."""
    kind = DamagedError if is_damage(error) else StoreError
    return kind(f"{sentence(path, error)} ({code_name(error) or type(error).__name__}).")
