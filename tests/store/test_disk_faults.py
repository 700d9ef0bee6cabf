"""The disk is full, refuses, or fails to sync: nothing confirmed is lost or written twice, people are told."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from logger.store import history
from logger.store.errors import StoreError
from logger.store.journal import Journal
from tests.store.disk import ROOT, Child
from tests.store.quick_runs import MadeRun, findings, open_run, reading_of, short_run

HANDS_OVER = """
import sys, time
from pathlib import Path
from tests.store.quick_runs import keep, open_journal, open_run, reading_of, short_run
from logger.store.errors import StoreError
from logger.core.run.commands import Refused
path, batches = Path(sys.argv[1]), int(sys.argv[2])

def again(call):
    while True:
        try:
            return call()
        except (StoreError, Refused) as error:
            print("refused", error, flush=True)

journal = again(lambda: open_journal(path, free_floor_bytes=0))
journal.on_trouble = lambda text: print("trouble", text, flush=True)
run = open_run(1)
again(lambda: journal.start_run(run.run_id, run.events[0]).result())
for place in range(batches):
    journal.add(run.run_id, [], [reading_of(1, 10 * place + i) for i in range(10)])
    try:
        head = journal.flush().result()
    except StoreError as error:
        print("refused", error, flush=True)
        continue
    print("stored", 10 * place + 10, head, flush=True)
journal.close()
"""
NAIVE = """
import sqlite3, sys
from tests.store.quick_runs import reading_of
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA journal_mode = WAL")
connection.execute("PRAGMA synchronous = FULL")
connection.execute("CREATE TABLE r (place INTEGER)")
for place in range(int(sys.argv[2])):
    for _ in range(3):
        try:
            connection.execute("INSERT INTO r VALUES (?)", (place,))
            break
        except sqlite3.OperationalError:
            connection.close()
            connection = sqlite3.connect(sys.argv[1], isolation_level=None)
            connection.execute("PRAGMA synchronous = FULL")
print(connection.execute("SELECT count(*), count(DISTINCT place) FROM r").fetchone())
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "store"
    made.mkdir()
    return made


def kept_places(path: Path, run: MadeRun) -> list[int]:
    with history.reading(path) as connection:
        kept = history.run_readings(connection, run.run_id)
    places = [(r.at_ns - 1_000_000_000) // 25_000_000 for r in kept]
    assert kept == [reading_of(1, place) for place in places]
    return places


def only(lines: list[str], word: str) -> list[str]:
    return [line for line in lines if line.startswith(f"{word} ")]


def test_the_fault_bites_a_writer_that_retries_after_a_failed_sync(folder: Path) -> None:
    """Reopening and writing again stores the unconfirmed row twice: SQLite finds it in the log again."""
    child = Child(folder, NAIVE, {"SHIM_EIO": "8-12"})
    rows, places = map(int, child.run("12")[0].strip("()").split(","))
    assert rows > places


@pytest.mark.parametrize("failing", ["9", "12-14"])
def test_a_failed_sync_stores_nothing_twice_and_loses_nothing_confirmed(folder: Path, failing: str) -> None:
    lines = Child(folder, HANDS_OVER, {"SHIM_EIO": failing}).run("14")
    assert only(lines, "refused"), lines
    assert "does not confirm what was written" in only(lines, "refused")[0]
    path = folder / "s.sqlite"
    assert kept_places(path, open_run(1)) == list(range(140))
    assert [finding.verdict for finding in findings(path)] == ["no-outside-head"]


@pytest.mark.full
@pytest.mark.parametrize("first", range(5, 65))
def test_whichever_sync_fails(folder: Path, first: int) -> None:
    Child(folder, HANDS_OVER, {"SHIM_EIO": f"{first},{first + 2}"}).run("14")
    path = folder / "s.sqlite"
    assert kept_places(path, open_run(1)) == list(range(140))
    assert [finding.verdict for finding in findings(path)] == ["no-outside-head"]


def _line(child: subprocess.Popen[bytes], word: str) -> str:
    assert child.stdout is not None
    while True:
        line = child.stdout.readline().decode()
        assert line, f"ended before {word!r}"
        if line.startswith(word):
            return line


PACED = """
import sys
from pathlib import Path
from tests.store.quick_runs import open_journal, open_run, reading_of
journal = open_journal(Path(sys.argv[1]), free_floor_bytes=0, kept_readings=int(sys.argv[2]))
journal.on_trouble = lambda text: print("trouble" if text else "well", text, flush=True)
journal.on_lost = lambda text: print("lost", text, flush=True)
run = open_run(1)
journal.start_run(run.run_id, run.events[0]).result()
journal.flush().result()
print("ready", flush=True)
place = 0
for order in sys.stdin:
    if order.startswith("start"):
        try:
            other = open_run(2)
            print("number", journal.start_run(other.run_id, other.events[0]).result(), flush=True)
        except Exception as error:
            print("no", type(error).__name__, error, flush=True)
        continue
    for _ in range(int(order)):
        journal.add(run.run_id, [], [reading_of(1, place)])
        place += 1
journal.close()
print("ended", flush=True)
"""


class Paced:
    """A child that hands over as many readings as it is told."""

    def __init__(self, child: subprocess.Popen[bytes]) -> None:
        self.child = child

    def tell(self, order: object) -> None:
        assert self.child.stdin is not None
        self.child.stdin.write(f"{order}\n".encode())
        self.child.stdin.flush()

    def until(self, word: str) -> str:
        return _line(self.child, word)

    def end(self) -> None:
        assert self.child.stdin is not None
        self.child.stdin.close()
        self.until("ended")
        assert self.child.wait(20) == 0


@contextmanager
def paced(folder: Path, kept: int = 200_000, **settings: str) -> Iterator[tuple[Paced, Path]]:
    made = Child(folder, PACED, settings)
    child = made.start(str(kept))
    try:
        yield Paced(child), made.flag
    finally:
        child.kill()
        child.wait()
        for stream in (child.stdin, child.stdout):
            assert stream is not None
            stream.close()


def test_a_full_disk_is_told_a_run_is_refused_and_all_is_written_when_there_is_room(folder: Path) -> None:
    with paced(folder, SHIM_FULL="1") as (child, flag):
        child.until("ready")
        flag.touch()
        child.tell(50)
        told = child.until("trouble")
        assert "the disk is full" in told
        assert str(folder / "s.sqlite") in told
        assert "wait in memory" in told
        child.tell("start")
        refusal = child.until("no")
        assert refusal.startswith("no Refused No run can start:")
        assert "disk is full" in refusal
        child.tell(50)
        flag.unlink()
        child.until("well None")
        child.tell("start")
        assert child.until("number") == "number 2\n"
        child.end()
    assert kept_places(folder / "s.sqlite", open_run(1)) == list(range(100))
    assert findings(folder / "s.sqlite")[0].sound


def test_a_disk_that_confirms_nothing_for_a_while(folder: Path) -> None:
    with paced(folder, SHIM_EIO="all") as (child, flag):
        child.until("ready")
        flag.touch()
        child.tell(30)
        assert "does not confirm" in child.until("trouble")
        child.until("trouble")
        child.tell(30)
        flag.unlink()
        child.until("well None")
        child.end()
    assert kept_places(folder / "s.sqlite", open_run(1)) == list(range(60))
    assert findings(folder / "s.sqlite")[0].sound


def test_readings_that_find_no_room_are_said_to_be_lost_once_and_loudly(folder: Path) -> None:
    with paced(folder, kept=40, SHIM_FULL="1") as (child, flag):
        child.until("ready")
        flag.touch()
        child.tell(100)
        assert "could not be kept" in child.until("lost")
        assert "60 READINGS ARE LOST, 40 wait" in child.until("trouble")
        flag.unlink()
        child.until("well None")
        child.end()
    assert kept_places(folder / "s.sqlite", open_run(1)) == list(range(40))


LIMITED = """
import resource, signal, sys
from pathlib import Path
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
from tests.store.quick_runs import open_journal, open_run, reading_of
path = Path(sys.argv[1])
journal = open_journal(path, free_floor_bytes=0)
journal.on_trouble = lambda text: print("trouble", text, flush=True)
run = open_run(1)
journal.start_run(run.run_id, run.events[0]).result()
soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
size = path.with_name(path.name + "-wal").stat().st_size
resource.setrlimit(resource.RLIMIT_FSIZE, (size + 8192, hard))
for place in range(400):
    journal.add(run.run_id, [], [reading_of(1, place)])
    try:
        journal.flush().result()
    except Exception as error:
        print("refused", type(error).__name__, error, flush=True)
        break
resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
journal.add(run.run_id, [], [reading_of(1, p) for p in range(place + 1, 400)])
journal.flush().result()
journal.close()
"""


def test_a_file_size_limit_is_another_error_and_ends_as_well(tmp_path: Path) -> None:
    """SQLITE_IOERR_WRITE, where a full disk gives SQLITE_FULL."""
    path = tmp_path / "s.sqlite"
    child = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path)],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=ROOT,
        check=True,
    )
    assert "refused StoreError" in child.stdout
    assert "SQLITE_IOERR_WRITE" in child.stdout
    assert kept_places(path, open_run(1)) == list(range(400))
    assert findings(path)[0].sound


def test_a_real_full_disk(tmp_path: Path) -> None:
    """A tmpfs of 1 MiB (SQLITE_FULL), filled by another file, and room made again."""
    mount = tmp_path / "small"
    mount.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(mount)], capture_output=True, check=False
    )
    if made.returncode:
        pytest.skip("mounting a tmpfs needs root here")
    try:
        _fill_and_free(mount)
    finally:
        subprocess.run(["umount", str(mount)], check=True)


def _fill_and_free(mount: Path) -> None:
    told: list[str | None] = []
    journal = Journal(
        mount / "s.sqlite", lambda: "2026-01-05T06:00:00.000Z", iter(map(str, range(10_000))).__next__, told.append,  # type: ignore[arg-type]
        free_floor_bytes=0,
    )  # fmt: skip
    run = open_run(1)
    journal.start_run(run.run_id, run.events[0]).result()
    filler = mount / "filler"
    with pytest.raises(OSError, match="No space"):
        filler.write_bytes(b"x" * (1 << 21))
    places = iter(range(4000))

    def one_more() -> None:
        while True:
            journal.add(run.run_id, [], [reading_of(1, next(places))])
            journal.flush().result()

    with pytest.raises(StoreError, match="the disk is full"):
        one_more()
    filler.unlink()
    last = next(places)
    journal.add(run.run_id, [], [reading_of(1, last)])
    journal.flush().result()
    journal.close()
    assert kept_places(journal.path, run) == list(range(last + 1))
    assert findings(journal.path)[0].sound


def test_the_record_that_a_full_disk_refused_is_made_when_there_is_room(folder: Path) -> None:
    program = """
import sys, time
from pathlib import Path
from logger.core.record import build_record
from logger.store import history
from tests.store.quick_runs import open_journal, short_run
journal = open_journal(Path(sys.argv[1]), free_floor_bytes=0)
journal.on_trouble = lambda text: print("trouble" if text else "well", text, flush=True)
run = short_run(1)
journal.start_run(run.run_id, run.events[0]).result()
print("ready", flush=True)
sys.stdin.readline()
journal.add(run.run_id, run.events[1:], run.readings)
try:
    journal.issue_record(run.run_id, lambda head: build_record(run.run_id, run.facts, head)).result()
except Exception as error:
    print("no", error, flush=True)
sys.stdin.readline()
journal.close()
print("ended", flush=True)
"""
    made = Child(folder, program, {"SHIM_FULL": "1"})
    process = made.start()
    child = Paced(process)
    child.until("ready")
    made.flag.touch()
    child.tell("go")
    assert "disk is full" in child.until("no")
    made.flag.unlink()
    child.until("well")
    child.tell("end")
    child.end()
    assert process.stdout is not None
    process.stdout.close()
    with history.reading(folder / "s.sqlite") as connection:
        body = history.record_body(connection, short_run(1).run_id)
    assert body is not None
    assert body["outcome"] == "aborted"
    assert findings(folder / "s.sqlite")[0].sound


@pytest.mark.full
def test_memory_stays_bounded_while_the_disk_fails(folder: Path) -> None:
    """Half a million readings against a full disk: only those that have room are held."""
    with paced(folder, kept=20_000, SHIM_FULL="1") as (child, flag):
        child.until("ready")
        child.tell(20_000)
        time.sleep(0.5)
        before = _rss_mib(child.child.pid)
        flag.touch()
        child.tell(500_000)
        child.until("lost")
        child.tell("start")
        child.until("no")
        grown = _rss_mib(child.child.pid) - before
        flag.unlink()
        child.until("well")
        child.end()
    print(f"{grown:.0f} MiB for 20,000 readings in memory")
    assert grown < 40


def _rss_mib(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise AssertionError("no VmRSS")
