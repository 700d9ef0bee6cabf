"""Backups are made while the service writes, checked, and restored without losing the old store or any number."""

from __future__ import annotations

import shutil
import sqlite3
import stat
import threading
from contextlib import closing
from pathlib import Path

import pytest

from logger.app import backup as commands
from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.store import history
from logger.store.backup import back_up, restore
from logger.store.errors import StoreError
from logger.store.lock import InstanceLock
from logger.store.verify import verify
from tests.store.quick_runs import (
    filled,
    findings,
    keep,
    open_journal,
    open_run,
    reading_of,
    short_run,
    verdicts,
)


def test_a_backup_made_in_the_middle_of_writing_is_whole(tmp_path: Path) -> None:
    """Restore and compare, many times over, while batches and packed runs come in."""
    journal = open_journal(tmp_path / "s.sqlite")
    for seed in range(20, 28):
        keep(journal, short_run(seed, 300))
    run, stop = open_run(1), threading.Event()
    journal.start_run(run.run_id, run.events[0]).result()

    def write() -> None:
        place = 0
        while not stop.is_set():
            journal.add(run.run_id, [], [reading_of(1, place + i) for i in range(20)])
            journal.flush().result()
            place += 20

    writer = threading.Thread(target=write)
    writer.start()
    try:
        copies = [back_up(journal.path, tmp_path / "backups" / f"{number}.sqlite") for number in range(12)]
    finally:
        stop.set()
        writer.join()
    journal.close()
    assert [copy.head.batch for copy in copies] == sorted(copy.head.batch for copy in copies)
    assert copies[0].head.batch < copies[-1].head.batch
    for copy in copies:
        with history.reading(copy.path) as connection:
            assert [one.verdict for one in verify(connection, copy.head)] == ["whole"]
            kept = history.run_readings(connection, run.run_id)
        assert kept == [reading_of(1, place) for place in range(len(kept))]
    with history.reading(journal.path) as connection:
        assert [one.verdict for one in verify(connection, copies[3].head)] == ["whole"]


def test_a_backup_is_one_private_file_and_leaves_nothing_behind(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=1)
    before = {one.name for one in tmp_path.iterdir()}
    copy = back_up(path, tmp_path / "copy.sqlite")
    assert {one.name for one in tmp_path.iterdir()} - before <= {
        "copy.sqlite",
        "s.sqlite-wal",
        "s.sqlite-shm",
    }
    assert stat.S_IMODE(copy.path.stat().st_mode) == 0o600
    assert copy.findings[0].verdict == "no-outside-head"


def test_a_copy_of_the_file_alone_is_not_a_backup(tmp_path: Path) -> None:
    """Why the command exists: `cp` leaves out what is still in the log."""
    journal = open_journal(tmp_path / "s.sqlite")
    keep(journal, short_run(1))
    shutil.copy(journal.path, tmp_path / "cp.sqlite")
    copy = back_up(journal.path, tmp_path / "backup.sqlite")
    journal.close()
    with history.reading(copy.path) as connection:
        assert len(history.list_runs(connection, 9)) == 1
    with closing(sqlite3.connect(tmp_path / "cp.sqlite")) as connection:
        assert connection.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)


def test_nothing_is_overwritten_and_a_failure_leaves_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=1)
    (tmp_path / "there").write_text("mine")
    with pytest.raises(StoreError, match="exists already"):
        back_up(path, tmp_path / "there")
    with pytest.raises(StoreError, match="cannot be written"):
        back_up(path, Path("/proc/nowhere/x.sqlite"))
    with pytest.raises(StoreError, match="no store yet"):
        back_up(tmp_path / "none.sqlite", tmp_path / "copy")
    assert not [one for one in tmp_path.iterdir() if "backup-" in one.name or "partial" in one.name]


def test_restore_keeps_the_old_store_and_says_what_is_lost(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=1)
    copy = back_up(path, tmp_path / "copy.sqlite")
    journal = open_journal(path)
    keep(journal, short_run(2))
    journal.close()
    restored, aside = restore(path, copy.path, utc_now)
    assert aside is not None
    assert ".before-restore-" in aside.name
    assert restored.sha256 == copy.sha256
    with history.reading(aside) as connection:
        assert len(history.list_runs(connection, 9)) == 2
    journal = open_journal(path)
    assert f"lacks batches {copy.head.batch + 1} to" in journal.notices[0]
    keep(journal, short_run(3))
    journal.close()
    with history.reading(path) as connection:
        assert [row.run_id for row in history.list_runs(connection, 9)] == [
            short_run(3).run_id,
            short_run(1).run_id,
        ]
        messages = connection.execute(
            "SELECT min(seq) FROM outbox WHERE run_id = ?", (short_run(3).run_id,)
        ).fetchone()[0]
    with history.reading(aside) as connection:
        assert messages > connection.execute("SELECT max(seq) FROM outbox").fetchone()[0], "no number twice"
    assert {one.verdict for one in findings(path)} == {"lost"}


def test_restoring_what_was_just_backed_up_loses_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=2)
    copy = back_up(path, tmp_path / "copy.sqlite")
    restore(path, copy.path, utc_now)
    journal = open_journal(path)
    assert journal.notices == []
    journal.close()
    assert verdicts(path) == {"no-outside-head"}


@pytest.mark.parametrize("wrong", ["damaged", "altered", "other", "missing", "newer"])
def test_a_backup_that_is_not_sound_is_refused_and_the_store_stays(tmp_path: Path, wrong: str) -> None:
    path = filled(tmp_path / "s.sqlite", runs=2, pack=False)
    copy = back_up(path, tmp_path / "copy.sqlite").path
    if wrong == "damaged":
        data = bytearray(copy.read_bytes())
        data[4096 * 3 : 4096 * 3 + 64] = b"\xff" * 64
        copy.write_bytes(data)
    elif wrong == "other":
        copy.write_text("hello " * 1000)
    elif wrong == "missing":
        copy.unlink()
    else:
        change = "PRAGMA user_version = 99" if wrong == "newer" else "UPDATE batch SET utc = '' WHERE seq = 4"
        with closing(sqlite3.connect(copy)) as connection:
            connection.execute(change)
            connection.commit()
    before = path.read_bytes()
    with pytest.raises(StoreError) as raised:
        restore(path, copy, utc_now)
    assert copy.name in str(raised.value)
    assert ".restore-" not in str(raised.value)
    assert path.read_bytes() == before
    assert not [one for one in tmp_path.iterdir() if ".restore-" in one.name or "before-restore" in one.name]


def test_restore_is_refused_while_a_service_runs(tmp_path: Path) -> None:
    data = DataFolder(tmp_path / "data")
    data.prepare()
    filled(data.store, runs=1)
    (tmp_path / "backups").mkdir()
    told = commands.back_up(data, tmp_path / "backups")
    copy = Path(told.splitlines()[0])
    assert copy.parent == tmp_path / "backups"
    assert copy.name.startswith("lastgrain-2")
    with InstanceLock(data.lock), pytest.raises(StoreError, match="in use by another service"):
        commands.restore(data, copy)
    assert "is kept as" in commands.restore(data, copy)
