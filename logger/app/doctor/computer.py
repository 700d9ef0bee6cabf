"""The computer itself: versions, clock, terminal, and the data folder."""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

from logger.app.doctor.findings import Finding, hint, ok, wrong
from logger.app.paths import DataFolder
from logger.console.terminal import why_not_drawn
from logger.service.clock_watch import clock_unset
from logger.store.errors import StoreError
from logger.store.place import free_bytes, require_fit
from logger.store.schema import read_only

LEAST_PYTHON = (3, 11)
LEAST_SQLITE = (3, 37, 0)
"""STRICT tables (SQLite's release notes; from memory)."""
LEAST_FREE = 50 * 1024 * 1024
GOOD_FREE = 500 * 1024 * 1024
"""Bytes; a day of live runs is some 10 MB."""
CLOCK_SLACK_S = 120.0
LEAST_COLUMNS, LEAST_ROWS = 80, 24
_SYNCED = Path("/run/systemd/timesync/synchronized")


def versions() -> Iterator[Finding]:
    """Python and SQLite."""
    for name, found, least in (
        ("Python", sys.version_info[:3], LEAST_PYTHON),
        ("SQLite", sqlite3.sqlite_version_info, LEAST_SQLITE),
    ):
        shown = ".".join(map(str, found))
        if found < least:
            needed = ".".join(map(str, least))
            yield wrong("computer", f"{name} {shown} is too old", f"install {name} {needed} or newer")
        else:
            yield ok("computer", f"{name} {shown}")


def clock(data: DataFolder, now: datetime) -> Iterator[Finding]:
    """Whether the wall clock can be right: durations do not need it, dates of records do."""
    shown = now.isoformat(timespec="seconds").replace("+00:00", "Z")
    newest = newest_entry(data.store)
    if clock_unset(shown):
        yield wrong(
            "computer", f"the clock shows {shown}", "set date and time, and let the system keep them (NTP)"
        )
    elif newest is not None and (newest - now).total_seconds() > CLOCK_SLACK_S:
        yield wrong(
            "computer",
            f"the clock shows {shown}, but the store was written at {newest.isoformat(timespec='seconds')}",
            "set date and time: the clock was put back, or ran ahead before",
        )
    elif _SYNCED.parent.is_dir() and not _SYNCED.exists():
        yield hint("computer", f"the clock shows {shown} and is not synchronised", "check the time server")
    else:
        yield ok("computer", f"the clock shows {shown}")


def newest_entry(store: Path) -> datetime | None:
    """When the store was last written to, by its own account; None when there is none or it cannot be read."""
    if not store.exists():
        return None
    try:
        with closing(read_only(store)) as connection:
            text = connection.execute("SELECT max(utc) FROM batch").fetchone()[0]
        return None if text is None else datetime.fromisoformat(text).astimezone(UTC)
    except (sqlite3.Error, ValueError, TypeError):
        return None


def terminal() -> Iterator[Finding]:
    """Whether the console can be drawn here; line mode works everywhere."""
    if not sys.stderr.isatty():
        yield ok("computer", "not at a terminal: whether the console can be drawn is not looked at")
        return
    columns, rows = shutil.get_terminal_size()
    why = why_not_drawn(os.environ, sys.stdout.encoding or "", sys.stdin.isatty())
    if why:
        yield hint("computer", why, "use another terminal, or line mode (`lastgrain run`)")
    elif columns < LEAST_COLUMNS or rows < LEAST_ROWS:
        yield hint(
            "computer",
            f"the terminal has {columns} x {rows} characters",
            f"make it {LEAST_COLUMNS} x {LEAST_ROWS} or larger",
        )
    else:
        yield ok("computer", f"terminal of {columns} x {rows} characters, UTF-8")


def data_folder(data: DataFolder) -> Iterator[Finding]:
    """Rights, kind of disk and room."""
    where = str(data.root)
    if not data.root.exists():
        yield from _parent(data.root)
        return
    try:
        require_fit(data.store)
    except StoreError as error:
        yield wrong("data folder", str(error).rstrip("."), "see there", where)
        return
    mode = stat.S_IMODE(data.root.stat().st_mode)
    if os.name == "posix" and mode & 0o077:
        yield hint("data folder", f"others may enter it (mode {mode:04o})", f"chmod 700 {where}", where)
    free = free_bytes(data.store)
    room = f"{free / 1e6:,.0f} MB free"
    if free < LEAST_FREE:
        yield wrong("data folder", f"{room}: a run could not be kept", "make room on this disk", where)
    elif free < GOOD_FREE:
        yield hint("data folder", room, "make room soon", where)
    else:
        yield ok("data folder", f"can be written, {room}", where)


def _parent(folder: Path) -> Iterator[Finding]:
    there = next((parent for parent in folder.parents if parent.exists()), folder)
    if os.access(there, os.W_OK | os.X_OK):
        yield ok("data folder", "is not there yet; it is made at the first start", str(folder))
    else:
        yield wrong(
            "data folder",
            f"cannot be made: {there} cannot be written",
            "name another with --data",
            str(folder),
        )
