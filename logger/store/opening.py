"""Opening the store for writing: fit place, right version, whole pages; a damaged file is set aside first."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from logger.store.errors import DamagedError, StoreError, as_store_error
from logger.store.gaps import close_gap
from logger.store.place import require_fit
from logger.store.salvage import salvage
from logger.store.schema import check_version, check_whole, prepare

CHECKED_AT_START = 256 * 1024 * 1024
"""Bytes. A larger store is checked beside the work (`background_check`), so that the bench starts in time."""
WAL_LIMIT = 4 * 1024 * 1024
"""Bytes that the log is cut back to after a checkpoint."""
SIDE_FILES = ("-wal", "-shm")


@dataclass(frozen=True, slots=True)
class Opened:
    """The connection, and what a person must hear about the file."""

    connection: sqlite3.Connection
    notices: list[str]


def open_store(path: Path, utc: Callable[[], str]) -> Opened:
    """Open for writing, whatever state the file is in. Raises StoreError when it must not be touched."""
    require_fit(path)
    notices: list[str] = []
    try:
        connection = connect(path)
    except DamagedError as damage:
        aside = set_aside(path, "corrupt", utc())
        connection = connect(path)
        notices.append(salvage(aside, connection, utc(), str(damage)))
    notices += close_gap(connection, path, utc())
    return Opened(connection, notices)


def connect(path: Path) -> sqlite3.Connection:
    """WAL, every commit synced, pages checked. Raises DamagedError, StoreError."""
    if path.exists():
        check_version(path)
    if damage_note(path).exists():
        raise DamagedError(f"{path} was found damaged: {damage_note(path).read_text(encoding='utf-8')}")
    try:
        return _connect(path)
    except sqlite3.Error as error:
        raise as_store_error(path, error) from error


def _connect(path: Path) -> sqlite3.Connection:
    fd = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    os.close(fd)
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
    try:
        connection.execute("PRAGMA busy_timeout = 5000")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA journal_size_limit = {WAL_LIMIT}")
        connection.execute("PRAGMA foreign_keys = ON")
        if path.stat().st_size <= CHECKED_AT_START:
            found = check_whole(connection)
            if found:
                raise DamagedError(f"{path} is damaged ({found}).")
        prepare(connection, path)
    except BaseException:
        connection.close()
        raise
    return connection


def damage_note(path: Path) -> Path:
    """Left by the check beside the work when it found damage: the next start sets the file aside."""
    return path.with_name(f"{path.name}.damage")


def set_aside(path: Path, word: str, utc: str) -> Path:
    """Rename the store with its log to NAME.WORD-TIME, never deleting anything. Gives the new path."""
    stamp = utc[:19].replace(":", "").replace("-", "")
    aside = path.with_name(f"{path.name}.{word}-{stamp}")
    number = 1
    while aside.exists():
        number += 1
        aside = path.with_name(f"{path.name}.{word}-{stamp}-{number}")
    try:
        for ending in ("", *SIDE_FILES):
            source = path.with_name(path.name + ending)
            if source.exists():
                source.rename(aside.with_name(aside.name + ending))
        if damage_note(path).exists():
            damage_note(path).rename(damage_note(aside))
    except OSError as error:
        raise StoreError(f"{path} cannot be set aside: {error.strerror}.") from error
    return aside
