"""Power cuts: what was acknowledged is there, no batch is half, and two usual ways of logging are not so good."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

import pytest

from logger.core.record import ChainHead
from logger.store import history
from logger.store.recover import close_open_runs
from logger.store.verify import verify
from tests.store.disk import Child
from tests.store.power import ACKS, Op, cuts, read_log
from tests.store.quick_runs import findings, open_journal, reading_of

OURS = """
import os, sys
from pathlib import Path
from tests.store.quick_runs import keep, open_journal, open_run, reading_of, short_run
path = Path(sys.argv[1])
acks = os.open(path.with_name("acks"), os.O_WRONLY | os.O_CREAT | os.O_APPEND)
journal = open_journal(path)
for seed in (2, 3, 4, 5):
    keep(journal, short_run(seed, readings=40))
    os.write(acks, f"record {seed} {journal.flush().result()}\\n".encode())
run = open_run(1)
journal.start_run(run.run_id, run.events[0]).result()
for place in range(int(sys.argv[2])):
    journal.add(run.run_id, [], [reading_of(1, 5 * place + i) for i in range(5)])
    os.write(acks, f"readings {5 * place + 5} {journal.flush().result()}\\n".encode())
os._exit(0)
"""
CSV = """
import os, sys
acks = os.open(sys.argv[1].replace("s.sqlite", "acks"), os.O_WRONLY | os.O_CREAT | os.O_APPEND)
with open(sys.argv[1], "w") as stream:
    for place in range(int(sys.argv[2])):
        stream.write(f"{place},{place * 7},{'x' * 40}\\n")
        stream.flush()
        os.write(acks, f"{place + 1}\\n".encode())
"""
NORMAL = """
import os, sqlite3, sys
acks = os.open(sys.argv[1].replace("s.sqlite", "acks"), os.O_WRONLY | os.O_CREAT | os.O_APPEND)
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA journal_mode = WAL")
connection.execute("PRAGMA synchronous = NORMAL")
connection.execute("CREATE TABLE r (place INTEGER PRIMARY KEY, text TEXT)")
for place in range(int(sys.argv[2])):
    connection.execute("INSERT INTO r VALUES (?, ?)", (place, "x" * 400))
    os.write(acks, f"{place + 1}\\n".encode())
"""


@cache
def recorded(program: str, size: int) -> tuple[Op, ...]:
    """The log of one program's calls; a program runs once for all tests."""
    root = Path(mkdtemp(prefix="lastgrain-power-"))
    folder, log = root / "store", root / "log"
    folder.mkdir()
    try:
        Child(folder, program, {"SHIM_LOG": str(log)}).run(str(size))
        return tuple(read_log(log))
    finally:
        shutil.rmtree(root)


def lost_in_csv(path: Path, acks: list[str]) -> bool:
    """Every acknowledged line must be there, whole."""
    lines = path.read_bytes().split(b"\n") if path.exists() else []
    whole = [f"{place},{place * 7},{'x' * 40}".encode() for place in range(int(acks[-1]))]
    return lines[: len(whole)] != whole


def lost_in_sqlite(path: Path, acks: list[str]) -> bool:
    with closing(sqlite3.connect(path)) as connection:
        try:
            return int(connection.execute("SELECT count(*) FROM r").fetchone()[0]) < int(acks[-1])
        except sqlite3.Error:
            return True


@pytest.mark.parametrize(
    ("program", "size", "lost"), [(CSV, 300, lost_in_csv), (NORMAL, 400, lost_in_sqlite)]
)
def test_the_harness_bites(
    program: str, size: int, lost: Callable[[Path, list[str]], bool], tmp_path: Path
) -> None:
    """A CSV file that is flushed, and SQLite as it is usually advised, lose what they acknowledged."""
    losses, count = 0, 40
    for number, (acks, disk, chance) in enumerate(cuts(list(recorded(program, size)), count, seed=1)):
        folder = tmp_path / str(number)
        folder.mkdir()
        disk.after_a_cut(folder, chance)
        losses += lost(folder / "s.sqlite", acks)
    print(f"{losses} of {count} cuts lost acknowledged data")
    assert losses > count // 3


def check_cut(folder: Path, acks: list[str]) -> None:
    """The store opens, is whole, holds everything acknowledged, and a new service can go on with it."""
    path = folder / "s.sqlite"
    _, _, head_text = acks[-1].split(" ")
    batch, _, sha256 = head_text.partition(":")
    records = [int(ack.split(" ")[1]) for ack in acks if ack.startswith("record")]
    readings = max((int(ack.split(" ")[1]) for ack in acks if ack.startswith("readings")), default=0)
    with history.reading(path) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert [one.verdict for one in verify(connection, ChainHead(int(batch), sha256))] == ["whole"]
        rows = {row.run_id: row for row in history.list_runs(connection, 10)}
        assert sum(row.outcome == "aborted" for row in rows.values()) >= len(records)
        open_id = f"00000000-0000-7000-8000-{1:012d}"
        kept = history.run_readings(connection, open_id) if open_id in rows else []
    assert kept == [reading_of(1, place) for place in range(len(kept))]
    assert len(kept) >= readings
    assert len(kept) % 5 == 0, "half a batch"
    journal = open_journal(path)
    assert journal.notices == []
    close_open_runs(journal, path)
    journal.close()
    assert all(finding.sound for finding in findings(path))


def check_cuts(tmp_path: Path, batches: int, count: int, seed: int) -> None:
    ops = list(recorded(OURS, batches))
    for number, (acks, disk, chance) in enumerate(cuts(ops, count, seed)):
        folder = tmp_path / str(number)
        folder.mkdir()
        disk.after_a_cut(folder, chance)
        check_cut(folder, acks)
        shutil.rmtree(folder)
    print(f"{count} cuts in {len(ops)} calls, seed {seed}: nothing acknowledged lost")


def test_nothing_acknowledged_is_lost_in_a_few_cuts(tmp_path: Path) -> None:
    check_cuts(tmp_path, batches=60, count=8, seed=2)


@pytest.mark.full
def test_nothing_acknowledged_is_lost_in_40_cuts(tmp_path: Path) -> None:
    """Long enough for the log to be copied into the file several times."""
    check_cuts(tmp_path, batches=900, count=40, seed=3)


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(10, 18))
def test_nothing_acknowledged_is_lost_in_400_cuts(tmp_path: Path, seed: int) -> None:
    check_cuts(tmp_path, batches=900, count=50, seed=seed)


def test_a_lost_sync_is_noticed_by_the_harness(tmp_path: Path) -> None:
    """Our own program with its syncs taken out of the log fails the check."""
    ops = [op for op in recorded(OURS, 60) if op.kind != "S" or op.name == ACKS]
    failed = 0
    for number, (acks, disk, chance) in enumerate(cuts(ops, 8, seed=2)):
        folder = tmp_path / str(number)
        folder.mkdir()
        disk.after_a_cut(folder, chance)
        try:
            check_cut(folder, acks)
        except Exception:
            failed += 1
    assert failed >= 4
