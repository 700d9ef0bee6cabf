"""One run verified alone: everything of its own is told, what is another's is left to the whole walk."""

from __future__ import annotations

import re
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from logger.core.record import ChainHead
from logger.store import history
from logger.store.batches import run_batches
from logger.store.verify import Finding
from logger.store.verify_run import verify_run
from tests.store.quick_runs import filled

RUN = "00000000-0000-7000-8000-000000000002"
OWN = f"FROM batch WHERE run_id = '{RUN}')"


@pytest.fixture(scope="module")
def loose(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three runs, batches not packed."""
    return filled(tmp_path_factory.mktemp("loose") / "s.sqlite", pack=False)


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filled(tmp_path_factory.mktemp("packed") / "s.sqlite")


def of_run(path: Path, number: int, outside: ChainHead | None = None) -> list[Finding]:
    with history.reading(path) as connection:
        row = history.find_run(connection, str(number))
        return verify_run(connection, row.run_id, number, outside)


def changed(store: Path, to: Path, statement: str) -> Path:
    shutil.copy(store, to / "s.sqlite")
    with closing(sqlite3.connect(to / "s.sqlite")) as connection:
        assert connection.execute(statement).rowcount > 0
        connection.commit()
    return to / "s.sqlite"


@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_sound_run_is_sound_packed_or_not(loose: Path, packed: Path, number: int) -> None:
    for path in (loose, packed):
        (found,) = of_run(path, number)
        assert found.verdict == "no-outside-head"
        assert found.text.endswith("the chain beyond them was not walked.")
        rests = "begin the chain" if number == 1 else r"follow batch \d+"
        assert re.match(
            rf"Run {number}: \d+ batches and the record agree with each other and {rests};", found.text
        )


@pytest.mark.parametrize(
    ("statement", "told"),
    [
        ("UPDATE batch SET readings = CAST(readings || 'x' AS BLOB) WHERE seq = 20", r"batch 20: readings"),
        ("UPDATE batch SET at_ns = at_ns + 1 WHERE seq = 21", "batch 21"),
        ("UPDATE batch SET hash = before WHERE seq = 21", "batch 21"),
        (f"UPDATE batch SET run_id = '{RUN[:-1]}1' WHERE seq = 21", "Batch 21 stands within run 2"),
        ("DELETE FROM batch WHERE seq = 21", "batch 22: batches 21 to 21 before it are missing"),
        (f"DELETE FROM batch WHERE run_id = '{RUN}'", "has no batch"),
        ("UPDATE run SET sample_id = 'other' WHERE number = 2", "its line in the history"),
        ("UPDATE record SET body = replace(body, 'aborted', 'invalid') WHERE rowid = 2", "record revision 1 was altered"),
        ("UPDATE record SET residue_pct = 3.5 WHERE rowid = 2", "record revision 1 was altered"),
        ("DELETE FROM record WHERE rowid = 2", "record revision 1 is missing"),
        (f"UPDATE outbox SET body = body || ' ' WHERE run_id = '{RUN}' AND kind = 'record'", "Message .* was altered"),
        # The places it hangs between: the last batch of run 1, the first of run 3.
        (f"UPDATE batch SET hash = 'x' WHERE seq = (SELECT min(seq) - 1 {OWN}", "does not follow"),
        (f"UPDATE batch SET before = 'x' WHERE seq = (SELECT max(seq) + 1 {OWN}", "does not follow"),
    ],
)  # fmt: skip
def test_whatever_is_altered_of_the_run_is_told(
    loose: Path, tmp_path: Path, statement: str, told: str
) -> None:
    found = of_run(changed(loose, tmp_path, statement), 2)
    assert {one.verdict for one in found} == {"altered"}
    assert any(re.search(told, one.text) for one in found), found


@pytest.mark.parametrize("column", ["packed", "marks", "hash", "before", "last_seq"])
def test_a_packed_run_cannot_be_altered_either(packed: Path, tmp_path: Path, column: str) -> None:
    new = {"last_seq": "last_seq - 1", "packed": "substr(packed, 2)", "marks": "zeroblob(length(marks))"}
    change = new.get(column, f"replace({column}, substr({column}, 1, 4), 'ffff')")
    path = changed(packed, tmp_path, f"UPDATE stretch SET {column} = {change} WHERE run_id = '{RUN}'")
    assert {one.verdict for one in of_run(path, 2)} == {"altered"}


def test_what_is_wrong_with_another_run_is_not_said_of_this_one(loose: Path, tmp_path: Path) -> None:
    path = changed(loose, tmp_path, "UPDATE batch SET at_ns = at_ns + 1 WHERE seq = 3")
    assert not of_run(path, 1)[0].sound
    assert of_run(path, 2)[0].sound
    assert of_run(path, 3)[0].sound


def test_a_head_kept_elsewhere_is_compared_where_it_is_of_this_run(packed: Path) -> None:
    with history.reading(packed) as connection:
        inside = [ChainHead(one.seq, one.hash) for one in run_batches(connection, RUN)]
    assert all(of_run(packed, 2, one)[0].verdict == "whole" for one in inside[::5])
    assert of_run(packed, 2, ChainHead(inside[3].batch, "a" * 64))[0].verdict == "rewritten"
    (other,) = of_run(packed, 3, inside[0])
    assert other.verdict == "missing-tail"
    assert "verify the whole store" in other.text


def test_a_record_revised_after_other_runs_is_of_the_run_too(packed: Path, tmp_path: Path) -> None:
    shutil.copy(packed, tmp_path / "s.sqlite")
    with closing(sqlite3.connect(tmp_path / "s.sqlite")) as connection:
        last = connection.execute("SELECT max(seq) FROM batch WHERE run_id = ?", (RUN,)).fetchone()[0]
        newest = connection.execute("SELECT max(seq) FROM batch").fetchone()[0]
    assert last < newest
    assert of_run(tmp_path / "s.sqlite", 2)[0].sound
