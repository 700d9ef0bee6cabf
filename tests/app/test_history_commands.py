"""`lastgrain runs list|verify RUN|compare` on small stores."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from logger.app.history import questions
from logger.app.runs import record_lines
from logger.console.kept import kept_run
from logger.console.panels.kept_pages import revisions
from logger.store.opening import damage_note
from tests.app.stores import MadeStore, made_store
from tests.core.run.made_runs import PLANNED, method


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> MadeStore:
    made = made_store(tmp_path_factory.mktemp("bench") / "data")
    made.run(method(), sample="A-1", lot="L-1", utc="2026-02-01T06:00:00.000Z", sieve=PLANNED)
    made.run(method(), 1.1, sample="A-1", lot="L-1", utc="2026-02-02T06:00:00.000Z")
    made.run(method(), sample="B-2", outcome=None, utc="2026-02-03T06:00:00.000Z")
    return made


def numbers(store: MadeStore, *options: str) -> list[int]:
    return [row["number"] for row in store("runs", "list", "--json", *options).json]


def test_the_list_is_searched_filtered_and_paged(store: MadeStore) -> None:
    assert numbers(store) == [3, 2, 1]
    assert numbers(store, "--search", "a-1") == [2, 1]
    assert numbers(store, "--outcome", "aborted") == [3]
    assert numbers(store, "--decision", "reject", "--method", "m") == [2]
    assert numbers(store, "--review", "accepted") == []
    assert numbers(store, "--since", "2026-02-02", "--until", "2026-02-02") == [2]
    assert numbers(store, "--sieve", "S-45-01") == [1]
    assert numbers(store, "--group", "1") == [2, 1]
    assert numbers(store, "--limit", "1", "--before", "3") == [2]
    text = store("runs", "list", "--limit", "1").out
    assert "--before 3 for the next page" in text
    assert "No run fits" in store("runs", "list", "--search", "zzz").out


@pytest.mark.parametrize("options", [("--outcome", "x"), ("--since", "monday")])
def test_a_filter_that_cannot_be_meant_ends_with_2(store: MadeStore, options: tuple[str, str]) -> None:
    done = store("runs", "list", *options)
    assert (done.code, done.out) == (2, "")
    assert done.err.count("\n") == 1


def test_a_run_is_shown_with_the_digits_of_its_balance(store: MadeStore) -> None:
    record = store("runs", "show", "1", "--json").json["record"]
    shown = "\n".join(record_lines(record | {"displays": {"mass_digit_g": 0.01, "dp_digit_pa": 1.0}}))
    assert "residue 0.95 g of 25.00 g" in shown


def test_one_run_is_verified_alone(store: MadeStore, tmp_path: Path) -> None:
    done = store("runs", "verify", "2", "--json")
    assert (done.code, [one["verdict"] for one in done.json]) == (0, ["no-outside-head"])
    assert store("runs", "verify", "9").code == 5
    assert store("runs", "verify", "2", "--bundle", str(tmp_path)).code == 2
    with closing(sqlite3.connect(store.data.store)) as source:
        copy = made_store(tmp_path / "copy")
        with closing(sqlite3.connect(copy.data.store)) as to:
            source.backup(to)
            to.execute("UPDATE record SET residue_pct = 1 WHERE rowid = 1")
            to.commit()
    assert copy("runs", "verify", "2").code == 0
    bad = copy("runs", "verify", "1")
    assert bad.code == 5
    assert "record revision 1 was altered" in bad.out


def test_runs_are_compared_side_by_side(store: MadeStore) -> None:
    text = store("runs", "compare", "1", "2", "3").out
    assert "Sample        A-1" in text
    assert "aborted" in text
    assert text.rstrip().endswith("% apart")
    columns = store("runs", "compare", "2", "1", "--json").json
    assert [column["run"] for column in columns] == [2, 1]
    assert columns[0]["residue_pct"] > columns[1]["residue_pct"]
    assert store("runs", "compare", "1").code == 2
    assert store("runs", "compare", "1", "77").code == 5


@pytest.mark.full
def test_a_corrected_run_is_found_by_what_it_says_now_and_shows_what_changed(tmp_path: Path) -> None:
    store = made_store(tmp_path / "data")
    for sample in ("S-1", "S-2"):
        store.run(method(), sample=sample)
    correct = ("runs", "correct", "1", "--by", "op-7", "--why", "label read again")
    assert store(*correct, "--lot", "NEW-7").code == 0
    assert store(*correct, "--lot", "NEW-8").code == 0
    assert numbers(store, "--search", "new-8") == [1]
    assert numbers(store, "--search", "new-7") == []
    assert numbers(store, "--review", "unreviewed") == [2, 1]
    assert store("runs", "verify", "1").code == store("runs", "verify", "2").code == 0
    answer = questions(store.data)["run"]({"which": "1"})
    assert [each["revision"] for each in answer["revisions"]] == [1, 2, 3]
    assert all(each["issued_at"] for each in answer["revisions"])
    text = revisions(kept_run(answer), 76).plain
    assert text.count("op-7,") == 2
    assert "sample.lot: NEW-7 → NEW-8" in text


def test_an_entry_into_a_damaged_store_tells_what_was_saved(tmp_path: Path) -> None:
    """Without a service it is the command that opens the store, and so the one to say it."""
    damaged = made_store(tmp_path / "data")
    damaged.run(method())
    damage_note(damaged.data.store).write_text("a page that cannot be read", encoding="utf-8")
    done = damaged("sieves", "add", "S-45-01", "--aperture", "45", "--by", "op-7")
    assert done.code == 0
    assert "a page that cannot be read" in done.err
    assert "corrupt" in done.err
