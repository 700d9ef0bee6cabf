"""Verify tells altered, lost, missing tail and rewritten apart, and names run and batch."""

from __future__ import annotations

import re
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from logger.core.record import ChainHead
from logger.store import history
from logger.store.batches import head
from logger.store.head_file import read_head_file
from logger.store.verify import Finding, verify
from tests.store.quick_runs import filled, findings, keep, open_journal, short_run, verdicts


@pytest.fixture(scope="module")
def loose(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three runs, batches not packed."""
    return filled(tmp_path_factory.mktemp("loose") / "s.sqlite", pack=False)


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filled(tmp_path_factory.mktemp("packed") / "s.sqlite")


def changed(store: Path, to: Path, statement: str) -> Path:
    """A copy with something altered by a person who knows SQL."""
    shutil.copy(store, to / "s.sqlite")
    with closing(sqlite3.connect(to / "s.sqlite")) as connection:
        assert connection.execute(statement).rowcount > 0
        connection.commit()
    return to / "s.sqlite"


def the_head(path: Path) -> ChainHead:
    with history.reading(path) as connection:
        return head(connection)


def against(path: Path, outside: ChainHead) -> list[Finding]:
    with history.reading(path) as connection:
        return verify(connection, outside)


def test_a_sound_store_is_whole_only_against_an_outside_head(loose: Path, packed: Path) -> None:
    for path in (loose, packed):
        assert verdicts(path) == {"no-outside-head"}
        assert [f.verdict for f in against(path, the_head(path))] == ["whole"]


def test_every_earlier_head_is_known_also_inside_a_packed_stretch(loose: Path, tmp_path: Path) -> None:
    with history.reading(loose) as connection:
        heads = [ChainHead(*row) for row in connection.execute("SELECT seq, hash FROM batch ORDER BY seq")]
    shutil.copy(loose, tmp_path / "s.sqlite")
    journal = open_journal(tmp_path / "s.sqlite")
    for seed in (1, 2, 3):
        journal.archive(short_run(seed).run_id).result()
    journal.close()
    assert len(heads) > 30
    assert all(against(journal.path, one)[0].verdict == "whole" for one in heads)


RUN = "00000000-0000-7000-8000-000000000002"


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE batch SET readings = CAST(readings || 'x' AS BLOB) WHERE seq = 20", r"run 2 \(.*2\), batch 20: read"),
        ("UPDATE batch SET events = replace(events, 'S-1', 'S-9') WHERE seq = 1", "run 1 .*batch 1"),
        ("UPDATE batch SET at_ns = at_ns + 1 WHERE seq = 21", "run 2 .*batch 21"),
        ("UPDATE batch SET utc = '2026-01-01T00:00:00.000Z' WHERE seq = 21", "run 2 .*batch 21"),
        ("UPDATE batch SET hash = before WHERE seq = 21", "run 2 .*batch 21"),
        (f"UPDATE batch SET run_id = '{RUN[:-1]}1' WHERE seq = 21", "run 1 .*batch 21"),
        ("DELETE FROM batch WHERE seq = 21", "batch 22: batches 21 to 21 before it are missing"),
        ("UPDATE run SET sample_id = 'other' WHERE number = 3", "run 3 .*its line in the history"),
        ("UPDATE run SET started_at = '' WHERE number = 3", "run 3 .*its line in the history"),
        ("UPDATE record SET body = replace(body, 'aborted', 'invalid') WHERE rowid = 2", "run 2 .*record revision 1"),
        ("UPDATE record SET outcome = 'endpoint' WHERE rowid = 2", "run 2 .*record revision 1 was altered"),
        ("UPDATE record SET residue_pct = 3.5 WHERE rowid = 2", "run 2 .*record revision 1 was altered"),
        ("DELETE FROM record WHERE rowid = 2", "run 2 .*record revision 1 is missing"),
        ("UPDATE outbox SET body = replace(body, 'aborted', 'stopped') WHERE seq = 2", "Message 2 for the plant was"),
        ("DELETE FROM outbox WHERE seq = 3", "Messages 3 to 3 for the plant are missing"),
    ],
)  # fmt: skip
def test_an_altered_row_is_named(loose: Path, tmp_path: Path, statement: str, told: str) -> None:
    found = findings(changed(loose, tmp_path, statement))
    assert {one.verdict for one in found} == {"altered"}
    assert any(re.search(told, one.text) for one in found), found
    assert not any(one.sound for one in found)


def test_inserted_and_swapped_batches_are_told(loose: Path, tmp_path: Path) -> None:
    copy = (
        "INSERT INTO batch SELECT 1 + (SELECT max(seq) FROM batch), run_id, at_ns, utc, events, readings, before, hash "
        "FROM batch WHERE seq = 20"
    )
    assert verdicts(changed(loose, tmp_path, copy)) == {"altered"}


@pytest.mark.parametrize("column", ["packed", "marks", "hash", "before", "last_seq"])
def test_a_packed_stretch_cannot_be_altered_either(packed: Path, tmp_path: Path, column: str) -> None:
    new = {"last_seq": "last_seq - 1", "packed": "substr(packed, 2)", "marks": "zeroblob(length(marks))"}
    change = new.get(column, f"replace({column}, substr({column}, 1, 4), 'ffff')")
    found = findings(
        changed(packed, tmp_path, f"UPDATE stretch SET {column} = {change} WHERE run_id = '{RUN}'")
    )
    assert {one.verdict for one in found} == {"altered"}
    assert any(RUN in one.text for one in found), found


def test_a_packed_batch_changed_by_someone_who_can_pack_is_named(packed: Path, tmp_path: Path) -> None:
    from logger.store.packing import Packable, pack, unpack

    shutil.copy(packed, tmp_path / "s.sqlite")
    with closing(sqlite3.connect(tmp_path / "s.sqlite")) as connection:
        first, data = connection.execute(
            "SELECT first_seq, packed FROM stretch WHERE run_id = ?", (RUN,)
        ).fetchone()
        batches = unpack(data)
        readings = batches[5].readings.replace(b"302.0", b"301.0")
        assert readings != batches[5].readings
        batches[5] = Packable(batches[5].at_ns, batches[5].utc, batches[5].events, readings)
        connection.execute("UPDATE stretch SET packed = ? WHERE run_id = ?", (pack(batches), RUN))
        connection.commit()
    found = findings(tmp_path / "s.sqlite")
    assert [one.verdict for one in found] == ["altered"]
    assert f"run 2 ({RUN}), batch {first + 5}:" in found[0].text


def _flip(path: Path, needle: bytes, to: bytes) -> None:
    data = path.read_bytes()
    assert data.count(needle) >= 1
    place = data.index(needle)
    path.write_bytes(data[:place] + to + data[place + len(needle) :])


def test_a_digit_flipped_on_the_disk_passes_sqlite_and_not_us(loose: Path, tmp_path: Path) -> None:
    shutil.copy(loose, tmp_path / "s.sqlite")
    _flip(tmp_path / "s.sqlite", b"302.017\tS +  302.017 g", b"302.017\tS +  302.817 g")
    with closing(sqlite3.connect(tmp_path / "s.sqlite")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    found = findings(tmp_path / "s.sqlite")
    assert [one.verdict for one in found] == ["altered"]
    assert re.search(rf"run 2 \({RUN}\), batch \d+: readings", found[0].text)


def test_every_flipped_byte_of_packed_readings_is_told(packed: Path, tmp_path: Path) -> None:
    data = packed.read_bytes()
    with history.reading(packed) as connection:
        blob = connection.execute("SELECT packed FROM stretch WHERE run_id = ?", (RUN,)).fetchone()[0]
    start = data.index(blob[:64])
    silent = []
    for place in range(start, start + len(blob), max(1, len(blob) // 40)):
        damaged = bytearray(data)
        damaged[place] ^= 1
        (tmp_path / "s.sqlite").write_bytes(damaged)
        if all(one.sound for one in findings(tmp_path / "s.sqlite")):
            silent.append(place)
    assert silent == []


def test_a_cut_tail_is_missing_and_a_rewritten_chain_is_rewritten(loose: Path, tmp_path: Path) -> None:
    outside = the_head(loose)
    cut = changed(loose, tmp_path, f"DELETE FROM batch WHERE seq > {outside.batch - 3}")
    assert {one.verdict for one in findings(cut)} == {"altered"}, "the record issued there is missing as well"
    texts = [one.text for one in against(cut, outside) if one.verdict == "missing-tail"]
    assert texts == [f"The last 3 batches up to the head given, batch {outside.batch}, are missing."]


def test_a_chain_made_anew_is_found_only_by_an_outside_head(loose: Path, tmp_path: Path) -> None:
    outside = the_head(loose)
    made = filled(tmp_path / "s.sqlite", runs=4, pack=False)
    assert verdicts(made) == {"no-outside-head"}
    assert [one.verdict for one in against(made, outside)] == ["rewritten"]


def test_the_tail_cut_cleanly_is_found_by_the_head_noted_beside_the_store(tmp_path: Path) -> None:
    """A store put back from an hour ago looks sound by itself."""
    journal = open_journal(tmp_path / "s.sqlite")
    keep(journal, short_run(1))
    journal.close()
    shutil.copy(journal.path, tmp_path / "older")
    journal = open_journal(journal.path)
    keep(journal, short_run(2))
    journal.close()
    shutil.copy(tmp_path / "older", journal.path)
    assert verdicts(journal.path) == {"no-outside-head"}
    noted = read_head_file(journal.path)
    assert noted is not None
    with history.reading(journal.path) as connection:
        assert [one.verdict for one in verify(connection, None, noted.head)] == ["missing-tail"]
