"""Damaged pages: the file is kept aside, what can be read is carried over, new runs are possible, people are told."""

from __future__ import annotations

import random
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from logger.core.record import ChainHead
from logger.store import history, journal, opening
from logger.store.chain import entry_hash
from logger.store.errors import StoreError
from logger.store.outbox_rows import last_seq
from logger.store.recover import close_open_runs
from logger.store.register import GENESIS as REGISTER_GENESIS
from logger.store.schema import check_whole, read_only
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

PAGE = 4096


def pages_of(path: Path, table: str) -> list[int]:
    """Leaf pages of a table, by its own list of pages (dbstat) where this SQLite has it."""
    with closing(sqlite3.connect(path)) as connection:
        try:
            rows = connection.execute(
                "SELECT pageno FROM dbstat WHERE name = ? AND pagetype = 'leaf' ORDER BY pageno", (table,)
            ).fetchall()
        except sqlite3.OperationalError:
            pytest.skip("this SQLite has no dbstat")
    return [page for (page,) in rows]


def damage(path: Path, page: int, length: int = 64) -> None:
    """Overwrite the header of a page."""
    data = bytearray(path.read_bytes())
    start = (page - 1) * PAGE + (100 if page == 1 else 0)
    data[start : start + length] = random.Random(page).randbytes(length)
    path.write_bytes(data)


def aside_of(path: Path) -> list[Path]:
    return [one for one in path.parent.iterdir() if re.fullmatch(r"s\.sqlite\.corrupt-\d{8}T\d{6}", one.name)]


def big_store(path: Path) -> Path:
    """Twelve runs with enough readings for many pages."""
    return filled(path, runs=12, pack=False, readings=600)


def test_a_damaged_page_of_readings_costs_its_runs_readings_and_no_more(tmp_path: Path) -> None:
    path = big_store(tmp_path / "s.sqlite")
    before = path.read_bytes()
    pages = pages_of(path, "batch")
    damage(path, pages[len(pages) // 2])
    with closing(read_only(path)) as connection:
        assert check_whole(connection) != "", "the damage bites"
    with history.reading(path) as connection:
        whole = history.record_body(connection, short_run(1).run_id)
    made = open_journal(path)
    notice = made.notices[0]
    aside = aside_of(path)
    assert len(aside) == 1
    assert aside[0].name in notice
    assert "is damaged" in notice
    hurt = re.search(r"lost some of their readings or events: (\d+)", notice)
    assert hurt is not None, notice
    number = keep_one_more(made)
    assert number == 13
    with history.reading(path) as connection:
        rows = history.list_runs(connection, 100)
        assert [row.number for row in rows] == list(range(13, 0, -1))
        assert history.record_body(connection, short_run(1).run_id) == whole
        readable = [
            seed
            for seed in range(1, 13)
            if history.run_readings(connection, short_run(seed).run_id) == short_run(seed, 600).readings
        ]
    assert len(readable) >= 10
    assert {one.verdict for one in findings(path)} == {"lost"}
    assert aside[0].read_bytes() != before
    assert aside[0].stat().st_size == len(before)


def keep_one_more(made: journal.Journal) -> int:
    keep(made, short_run(13))
    with history.reading(made.path) as connection:
        number = history.find_run(connection, short_run(13).run_id).number
    made.close()
    return number


@pytest.mark.parametrize(
    "table", ["run", "record", "outbox", "batch_of_run", "sqlite_autoindex_run_1", "meta"]
)
def test_damage_in_any_table_leaves_a_store_that_works(tmp_path: Path, table: str) -> None:
    path = big_store(tmp_path / "s.sqlite")
    with closing(sqlite3.connect(path)) as connection:
        messages = last_seq(connection)
    damage(path, pages_of(path, table)[-1])
    made = open_journal(path)
    assert "carried over whole" in made.notices[0]
    keep_one_more(made)
    with history.reading(path) as connection:
        assert history.find_run(connection, short_run(13).run_id).outcome == "aborted"
        assert last_seq(connection) > messages
        old = {
            seq
            for (seq,) in connection.execute(
                "SELECT seq FROM outbox WHERE run_id = ?", (short_run(13).run_id,)
            )
        }
    assert min(old) > messages, "no number is given out twice"
    assert verdicts(path) <= {"lost", "no-outside-head"}


def test_the_register_is_carried_over_but_for_the_damaged_page(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=2)
    made = open_journal(path)

    def enter(connection: sqlite3.Connection) -> None:
        before = REGISTER_GENESIS
        for seq in range(1, 201):
            entry = '{"text":"' + "x" * 400 + f'{seq}"' + "}"
            connection.execute(
                "INSERT INTO register VALUES (?, ?, ?, ?)",
                (seq, entry, before, entry_hash(before, seq, entry)),
            )
            before = entry_hash(before, seq, entry)

    made.writer.submit(enter).result()
    made.close()
    assert verdicts(path) == {"no-outside-head"}
    damage(path, pages_of(path, "register")[3])
    open_journal(path).close()
    with history.reading(path) as connection:
        kept = [seq for (seq,) in connection.execute("SELECT seq FROM register ORDER BY seq")]
    assert 150 < len(kept) < 200
    assert (kept[0], kept[-1]) == (1, 200)
    found = findings(path)
    assert {one.verdict for one in found} == {"lost"}
    assert any("of the register are missing" in one.text for one in found)


@pytest.mark.parametrize("kind", ["first page", "no database at all"])
def test_when_nothing_can_be_read_the_file_is_kept_and_runs_are_possible(tmp_path: Path, kind: str) -> None:
    path = filled(tmp_path / "s.sqlite", runs=3)
    if kind == "first page":
        data = path.read_bytes()
        path.write_bytes(random.Random(1).randbytes(PAGE) + data[PAGE:])
    else:
        path.write_bytes(b"not a database, whatever its name says\n" * 300)
    damaged = path.read_bytes()
    with pytest.raises(StoreError, match=r"s\.sqlite"), history.reading(path):
        pass
    made = open_journal(path)
    assert "0 runs were carried over whole" in made.notices[0]
    assert aside_of(path)[0].read_bytes() == damaged
    keep(made, short_run(7))
    made.close()
    # The head noted beside the old store keeps its numbers from being used again.
    assert {one.verdict for one in findings(path)} == {"lost"}


def test_a_store_cut_to_half_its_length(tmp_path: Path) -> None:
    path = big_store(tmp_path / "s.sqlite")
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2 // PAGE * PAGE])
    made = open_journal(path)
    assert made.notices
    keep_one_more(made)
    assert verdicts(path) == {"lost"}


def test_an_emptied_file_is_not_taken_for_a_new_store(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=2)
    path.write_bytes(b"")
    made = open_journal(path)
    assert "lacks batches 1 to" in made.notices[0]
    keep(made, short_run(5))
    made.close()
    assert verdicts(path) == {"lost"}


def test_an_open_run_is_carried_over_and_closed(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    made = open_journal(path)
    for seed in range(1, 9):
        keep(made, short_run(seed, 600), pack=False)
    run = open_run(9)
    made.start_run(run.run_id, run.events[0]).result()
    for place in range(20):
        made.add(run.run_id, [], [reading_of(9, place)])
        made.flush().result()
    made.close()
    damage(path, pages_of(path, "batch")[3])
    made = open_journal(path)
    assert close_open_runs(made, path) == [run.run_id]
    made.close()
    with history.reading(path) as connection:
        assert history.find_run(connection, run.run_id).outcome == "interrupted"
        assert len(history.run_readings(connection, run.run_id)) == 20


def test_a_large_store_is_checked_beside_the_work_and_set_aside_at_the_next_start(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = big_store(tmp_path / "s.sqlite")
    damage(path, pages_of(path, "batch")[5])
    monkeypatch.setattr(opening, "CHECKED_AT_START", 1000)
    monkeypatch.setattr(journal, "CHECKED_AT_START", 1000)
    made = open_journal(path)
    told: list[str | None] = []
    made.on_trouble = told.append
    assert made.notices == []
    thread = made.check_beside()
    assert thread is not None
    thread.join()
    made.close()
    assert "damaged pages" in str(told[-1])
    again = open_journal(path)
    assert "was set aside" in again.notices[0]
    again.close()
    once_more = open_journal(path)
    assert once_more.notices == []
    once_more.close()


@pytest.mark.full
@pytest.mark.parametrize("seed", range(40))
def test_any_page_may_be_damaged(tmp_path: Path, seed: int) -> None:
    """No traceback, a store that works, and what verify then says is lost or nothing: never altered."""
    path = big_store(tmp_path / "s.sqlite")
    chance = random.Random(seed)
    for _ in range(chance.choice((1, 1, 2, 5))):
        damage(path, chance.randrange(1, path.stat().st_size // PAGE + 1), chance.choice((8, 64, 4000)))
    made = open_journal(path)
    keep_one_more(made)
    assert verdicts(path) <= {"lost", "no-outside-head"}
    with history.reading(path) as connection:
        for row in history.list_runs(connection, 100):
            history.record_body(connection, row.run_id)
            history.run_readings(connection, row.run_id)


def test_a_head_from_before_the_damage_is_still_judged(tmp_path: Path) -> None:
    path = big_store(tmp_path / "s.sqlite")
    with history.reading(path) as connection:
        early = ChainHead(*connection.execute("SELECT seq, hash FROM batch WHERE seq = 5").fetchone())
    damage(path, pages_of(path, "batch")[-3])
    open_journal(path).close()
    from logger.store.verify import verify

    with history.reading(path) as connection:
        assert {one.verdict for one in verify(connection, early)} == {"lost"}
        assert "rewritten" in {one.verdict for one in verify(connection, ChainHead(5, "0" * 64))}
