"""A store that lost its tail: noticed at the next start, said loudly, and no number given out twice."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

from logger.store import history
from logger.store.head_file import Noted, read_head_file
from logger.store.outbox_rows import last_seq, waiting
from logger.store.verify import verify
from tests.store.disk import ROOT
from tests.store.quick_runs import filled, findings, keep, open_journal, short_run

WRITES = """
import sys, time
from pathlib import Path
from tests.store.quick_runs import keep, open_journal, open_run, reading_of, short_run
journal = open_journal(Path(sys.argv[1]))
keep(journal, short_run(1), pack=False)
run = open_run(2)
journal.start_run(run.run_id, run.events[0]).result()
for place in range(30):
    journal.add(run.run_id, [], [reading_of(2, place)])
    head = journal.flush().result()
print(head, flush=True)
time.sleep(60)
"""


def killed_store(path: Path) -> str:
    """A store whose program was killed; gives the last confirmed head."""
    command = [sys.executable, "-c", WRITES, str(path)]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    child = subprocess.Popen(command, stdout=subprocess.PIPE, cwd=ROOT, env=environment)
    assert child.stdout is not None
    head = child.stdout.readline().decode().strip()
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    return head


def test_a_log_deleted_after_a_kill_is_told_at_the_next_start(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    head = killed_store(path)
    noted = read_head_file(path)
    assert noted is not None
    assert str(noted.head) == head
    assert path.with_name("s.sqlite-wal").stat().st_size > 0
    path.with_name("s.sqlite-wal").unlink()
    path.with_name("s.sqlite-shm").unlink()
    journal = open_journal(path)
    assert len(journal.notices) == 1
    assert f"to {noted.head.batch}, which it had before" in journal.notices[0]
    assert "-wal was deleted" in journal.notices[0]
    check_goes_on(path, journal.notices, noted)
    journal.close()


def check_goes_on(path: Path, notices: list[str], noted: Noted) -> None:
    """Numbers go on behind what was lost; the loss stays named."""
    with history.reading(path) as connection:
        assert last_seq(connection) == noted.outbox
        assert waiting(connection)[1] == 1
        found = verify(connection, noted.head)
    assert {one.verdict for one in found} == {"lost"}
    assert notices


def test_runs_after_the_loss_are_chained_behind_it(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    killed_store(path)
    path.with_name("s.sqlite-wal").unlink()
    noted = read_head_file(path)
    assert noted is not None
    journal = open_journal(path)
    keep(journal, short_run(3))
    journal.close()
    again = open_journal(path)
    assert again.notices == []
    again.close()
    with history.reading(path) as connection:
        seqs = [seq for (seq,) in connection.execute("SELECT seq FROM outbox WHERE set_aside IS NULL")]
        assert min(seq for seq in seqs if seq > noted.outbox) == noted.outbox + 1
        first = connection.execute(
            "SELECT first_seq FROM stretch ORDER BY first_seq DESC LIMIT 1"
        ).fetchone()[0]
    assert first == noted.head.batch + 1
    assert {one.verdict for one in findings(path)} == {"lost"}


def test_an_older_copy_put_in_place_is_told(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=1)
    shutil.copy(path, tmp_path / "older")
    journal = open_journal(path)
    keep(journal, short_run(2))
    journal.close()
    shutil.copy(tmp_path / "older", path)
    journal = open_journal(path)
    assert "an older copy was put in place" in journal.notices[0]
    journal.close()


def test_another_store_put_in_place_is_told(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=1)
    (tmp_path / "other").mkdir()
    other = filled(tmp_path / "other" / "s.sqlite", runs=2, readings=30)
    shutil.copy(other, path)
    journal = open_journal(path)
    assert "is not the store that was here before" in journal.notices[0]
    journal.close()


def test_an_unreadable_note_is_no_obstacle(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=1)
    note = path.with_name("s.sqlite.head")
    for text in (b"", b"\xff" * 300, b"1 abc 2 0000", note.read_bytes()[:40], b"9" * 100):
        note.write_bytes(text)
        assert read_head_file(path) is None
        journal = open_journal(path)
        assert journal.notices == []
        journal.close()
        assert read_head_file(path) is not None
