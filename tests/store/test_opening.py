"""Formats: a newer one is refused untouched, an older one migrated whole or not at all, a foreign one left alone."""

from __future__ import annotations

import hashlib
import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from logger.store import history
from logger.store.errors import StoreError
from logger.store.opening import connect
from logger.store.schema import VERSION, check_whole, found_version, prepare
from tests.store.quick_runs import filled, open_journal, verdicts

NEXT = {VERSION: "ALTER TABLE run ADD COLUMN shift TEXT NOT NULL DEFAULT ''; UPDATE run SET shift = 'early';"}


def _files(folder: Path) -> dict[str, str]:
    return {
        one.name: hashlib.sha256(one.read_bytes()).hexdigest() for one in folder.iterdir() if one.is_file()
    }


def test_a_newer_format_is_refused_and_no_byte_changes(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=1)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {VERSION + 1}")
        connection.execute("PRAGMA journal_mode = DELETE")
    before = _files(tmp_path)
    with pytest.raises(StoreError, match=rf"newer version \(format {VERSION + 1}\)"):
        open_journal(path)
    with pytest.raises(StoreError, match="newer version"), history.reading(path):
        pass
    assert _files(tmp_path) == before


def test_another_programs_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE theirs (x)")
    before = _files(tmp_path)
    with pytest.raises(StoreError, match="was not written by Lastgrain"):
        open_journal(path)
    assert _files(tmp_path)["s.sqlite"] == before["s.sqlite"]


def test_a_migration_keeps_everything_and_leaves_a_backup(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=2)
    with closing(connect(path)) as connection:
        prepare(connection, path, VERSION + 1, NEXT)
        assert found_version(connection, path, VERSION + 1) == VERSION + 1
        assert connection.execute("SELECT shift FROM run").fetchall() == [("early",), ("early",)]
    backup = tmp_path / f"s.sqlite.format-{VERSION}"
    assert verdicts(backup) == {"no-outside-head"}


def test_a_migration_that_fails_changes_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=1)
    with closing(connect(path)) as connection, pytest.raises(sqlite3.Error):
        prepare(connection, path, VERSION + 1, {VERSION: f"{NEXT[VERSION]} SELECT no_such_function();"})
    assert verdicts(path) == {"no-outside-head"}
    open_journal(path).close()


CHILD = """
import sys, time
from pathlib import Path
from logger.store import schema
from logger.store.opening import connect
path = Path(sys.argv[1])
connection = connect(path)
connection.create_function("wait_here", 0, lambda: (print("inside", flush=True), time.sleep(60))[0])
steps = {schema.VERSION: "ALTER TABLE run ADD COLUMN shift TEXT; DELETE FROM record; SELECT wait_here();"}
schema.prepare(connection, path, schema.VERSION + 1, steps)
"""


def test_killed_inside_a_migration_it_never_happened(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=2)
    child = subprocess.Popen([sys.executable, "-c", CHILD, str(path)], stdout=subprocess.PIPE)
    assert child.stdout is not None
    assert child.stdout.readline() == b"inside\n"
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    assert verdicts(path) == {"no-outside-head"}
    with history.reading(path) as connection:
        assert connection.execute("SELECT count(*) FROM record").fetchone() == (2,)
    open_journal(path).close()
    assert (tmp_path / f"s.sqlite.format-{VERSION}").exists()


def test_files_are_closed_to_others(tmp_path: Path) -> None:
    old = os.umask(0)
    try:
        journal = open_journal(tmp_path / "s.sqlite")
        journal.flush().result()
        modes = {one.name: one.stat().st_mode & 0o777 for one in tmp_path.iterdir()}
        journal.close()
    finally:
        os.umask(old)
    assert set(modes.values()) == {0o600}, modes


def test_a_path_with_odd_characters_works(tmp_path: Path) -> None:
    folder = tmp_path / "a?b#c%20d µ"
    folder.mkdir()
    assert verdicts(filled(folder / "s.sqlite", runs=1)) == {"no-outside-head"}


def test_a_store_in_use_is_read_while_it_is_written(tmp_path: Path) -> None:
    journal = open_journal(tmp_path / "s.sqlite")
    start_s = time.monotonic()
    with history.reading(journal.path) as connection:
        assert check_whole(connection) == ""
        journal.flush().result(5)
    journal.close()
    assert time.monotonic() - start_s < 5
