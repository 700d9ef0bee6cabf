"""Lists and searches over the index beside the store: right after every change, made anew when it does not fit."""

from __future__ import annotations

import json
import sqlite3
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from functools import cache, partial
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.record_parts import Outcome
from logger.core.run.commands import Refused
from logger.core.run_list import FILTERS, OPEN, OUTCOMES, RunFilter, run_filter
from logger.store.history import find_run, list_runs, reading
from logger.store.history_reader import StoreHistory, list_page
from logger.store.run_index import index_path, page, prepare
from tests.hostile import KEPT, composed, hidden
from tests.store.big_history import METHODS, OPERATORS, big_history, body_of, lot_of, run_id_of, sample_of
from tests.store.quick_runs import open_journal

RUNS = 400


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return big_history(tmp_path_factory.mktemp("history") / "s.sqlite", RUNS)


def numbers(store: Path, **wanted: str) -> list[int]:
    return [line.number for line in list_page(store, run_filter(dict(wanted)), 500).runs]


def fits(number: int, **wanted: str) -> bool:
    """The same question asked of the rows in plain Python."""
    body = body_of(number)
    have = {
        "method_id": METHODS[number % 4],
        "decision": body["assessment"]["decision"]["outcome"],
        "review": body["review"],
        "sieve_id": body["sieve"]["id"],
        "sample_id": sample_of(number),
        "outcome": "endpoint",
    }
    return all(have[name] == value for name, value in wanted.items())


@pytest.mark.parametrize(
    "wanted",
    [
        {},
        {"method_id": METHODS[1]},
        {"decision": "reject", "review": "accepted"},
        {"review": "unreviewed"},
        {"sieve_id": "TS-4", "method_id": METHODS[2]},
        {"sample_id": sample_of(77)},
        {"outcome": "endpoint"},
        {"outcome": "aborted"},
        {"decision": "none"},
        {"method_id": "no-such"},
    ],
)
def test_filters_find_what_a_plain_look_finds(store: Path, wanted: dict[str, str]) -> None:
    expected = [
        number for number in range(RUNS, 0, -1) if "none" not in wanted.values() and fits(number, **wanted)
    ]
    assert numbers(store, **wanted) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (sample_of(123), [123]),
        ("mill-4-000123", [123]),
        ("000123", [123]),
        (run_id_of(55)[:18], [55]),
        (run_id_of(55).replace("-", "").upper(), [55]),
        (run_id_of(55)[:7], []),
        (f"{lot_of(60)} {OPERATORS[60 % 9]}", [n for n in range(99, 49, -1) if n % 9 == 60 % 9]),
        ("000123 fly", []),
        ("23", [23]),
        ("0023", []),
        ("#23", []),
        ("filler", [n for n in range(RUNS, 0, -1) if METHODS[n % 4].startswith("filler")]),
        ("  ", list(range(RUNS, 0, -1))),
    ],
)
def test_words_are_found_by_their_beginnings(store: Path, text: str, expected: list[int]) -> None:
    assert numbers(store, text=text) == expected


def test_several_may_make_the_index_at_once(tmp_path: Path) -> None:
    path = big_history(tmp_path / "s.sqlite", 200)
    with ThreadPoolExecutor(4) as threads:
        found = list(threads.map(lambda _: numbers(path, text="mill"), range(8)))
    assert found == [list(range(200, 0, -1))] * 8


def test_pages_follow_each_other_without_gap_or_repeat(store: Path) -> None:
    for wanted in ({}, {"text": "mill"}, {"method_id": METHODS[0]}):
        seen: list[int] = []
        before = None
        while True:
            page = list_page(store, run_filter(dict(wanted)), 17, before)
            seen += [line.number for line in page.runs]
            if page.cursor is None:
                break
            before = page.cursor
        assert seen == numbers(store, **wanted)


def test_days_are_whole_and_both_are_included(store: Path) -> None:
    lines = list_page(store, RunFilter(since="2016-01-02", until="2016-01-03"), 500).runs
    days = {line.started_at[:10] for line in lines}
    assert days == {"2016-01-02", "2016-01-03"}
    assert len(lines) == 80


def test_a_group_is_sample_lot_and_method(tmp_path: Path) -> None:
    path = big_history(tmp_path / "s.sqlite", 20)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(
            "UPDATE run SET sample_id = 'A', lot = 'B', method_id = 'm' WHERE number IN (3, 9, 14)"
        )
        connection.execute("UPDATE run SET sample_id = 'A', lot = 'C', method_id = 'm' WHERE number = 15")
        connection.execute(
            "DELETE FROM record WHERE run_id IN (SELECT run_id FROM run WHERE sample_id = 'A')"
        )
    assert numbers(path, like="9") == [14, 9, 3]
    assert numbers(path, like="999") == []


def _revise(path: Path, number: int, revision: int, **changed: Any) -> None:
    body = body_of(number) | changed
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(
            "INSERT INTO record VALUES (?, ?, 'endpoint', 11.5, ?)",
            (run_id_of(number), revision, json.dumps(body)),
        )


def test_the_next_question_sees_new_runs_and_revisions(tmp_path: Path) -> None:
    path = big_history(tmp_path / "s.sqlite", 30)
    assert numbers(path, review="unreviewed") == []
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute(
            "INSERT INTO run VALUES ('ffffffff-0000', 31, 'NEW 31', 'op', '', 'm', 1, '2020-01-01T00:00:00Z', 0)"
        )
    assert numbers(path, text="new") == [31]
    assert numbers(path, outcome="open") == [31]
    corrected = {"sample_id": "RIGHT-7", "lot": "L9"}
    _revise(path, 7, 2, sample=corrected, review="unreviewed")
    assert numbers(path, text="right-7") == [7]
    assert numbers(path, text=sample_of(7)) == []
    line = list_page(path, RunFilter(text="right"), 5).runs[0]
    assert (line.revision, line.residue_pct, line.review, line.lot) == (2, 11.5, "unreviewed", "L9")


def test_a_restored_store_is_indexed_anew(tmp_path: Path) -> None:
    path = big_history(tmp_path / "s.sqlite", 30)
    assert len(numbers(path)) == 30
    path.unlink()
    big_history(path, 12)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE run SET sample_id = 'OTHER' WHERE number = 12")
    assert numbers(path) == list(range(12, 0, -1))
    assert numbers(path, text=sample_of(20)) == []


@pytest.mark.parametrize("damage", [b"", b"no index at all" * 400, b"SQLite format 3\x00" + b"\xff" * 8000])
def test_a_damaged_index_is_made_again(tmp_path: Path, damage: bytes) -> None:
    path = big_history(tmp_path / "s.sqlite", 10)
    index_path(path).write_bytes(damage)
    assert len(numbers(path)) == 10
    assert numbers(path, text=sample_of(4)) == [4]


def test_the_index_is_closed_to_others(tmp_path: Path) -> None:
    path = big_history(tmp_path / "s.sqlite", 10)
    assert numbers(path)
    assert index_path(path).stat().st_mode & 0o777 == 0o600


def test_an_index_of_another_format_is_made_again(tmp_path: Path) -> None:
    path = big_history(tmp_path / "s.sqlite", 10)
    with closing(sqlite3.connect(index_path(path))) as index, index:
        index.execute("CREATE TABLE line (x)")
        index.execute("PRAGMA user_version = 99")
    assert len(numbers(path)) == 10


def test_where_nothing_can_be_written_the_list_is_made_in_memory(tmp_path: Path) -> None:
    path = big_history(tmp_path / "s.sqlite", 10)
    index_path(path).mkdir()
    assert len(numbers(path)) == 10


def test_a_damaged_record_is_listed_by_its_run(tmp_path: Path) -> None:
    path = big_history(tmp_path / "s.sqlite", 3)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE record SET body = '{[' WHERE run_id = ?", (run_id_of(2),))
    line = list_page(path, RunFilter(text=sample_of(2)), 5).runs[0]
    assert (line.sample_id, line.outcome, line.decision) == (sample_of(2), "endpoint", "")


def test_every_hostile_sample_is_found_by_itself(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    open_journal(path).close()
    texts = [composed(text) for text in KEPT.values()]
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.executemany(
            "INSERT INTO run VALUES (?, ?, ?, 'op', '', 'm', 1, '2020-01-01T00:00:00Z', 0)",
            ((f"{n:032x}", n, text) for n, text in enumerate(texts, start=1)),
        )
    for number, text in enumerate(texts, start=1):
        assert number in numbers(path, text=text), text
        assert numbers(path, sample_id=text) == [number]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"outcome": "endpunkt"}, "no outcome 'endpunkt'; there are: endpoint,"),
        ({"decision": "yes"}, "no decision 'yes'"),
        ({"review": "x"}, "no review 'x'"),
        ({"since": "yesterday"}, "since must be a day such as"),
        ({"until": "2026-02-30"}, "until must be a day"),
        ({"until": "9999-12-31"}, "until must be a day"),
        ({"until": "٢٠٢٦-01-01"}, "until must be a day"),
        ({"like": "x"}, "number of a run"),
        ({"text": "x" * 121}, "at most 120"),
        ({"text": "a\x1b[2J"}, r"U\+001B"),
        ({"text": 7}, "must be text"),
    ],
)
def test_a_filter_that_cannot_be_meant_is_told(given: dict[str, Any], told: str) -> None:
    with pytest.raises(Refused, match=told):
        run_filter(given)


def test_the_outcomes_named_are_those_of_a_record() -> None:
    assert (*get_args(Outcome), OPEN) == OUTCOMES


def test_without_a_store_the_service_gets_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(Refused, match="no store yet"):
        StoreHistory(tmp_path / "s.sqlite").list_runs(RunFilter(), 10)
    assert list(tmp_path.iterdir()) == []


def _cpu_ms(ask: Callable[[], object]) -> float:
    """CPU, since other tests run beside; the least of many, since the first ones find cold caches."""
    taken = []
    for _ in range(15):
        start_s = time.thread_time()
        ask()
        taken.append(1000 * (time.thread_time() - start_s))
    return min(taken)


@pytest.mark.full
def test_lists_and_searches_stay_flat(tmp_path: Path) -> None:
    """Of the 100,000 runs there is `tests.benchmarks.history`; here so many that a walk over all would show."""
    counts = (1000, 10_000)
    found: dict[str, list[float]] = {}
    for count in counts:
        store = big_history(tmp_path / f"{count}.sqlite", count)
        middle = count // 2
        asked = {
            "list": RunFilter(),
            "sample": RunFilter(text=sample_of(middle)),
            "operator and lot": RunFilter(text=f"{OPERATORS[middle % 9]} {lot_of(middle)}"),
            "common word": RunFilter(text="mill"),
            "method": RunFilter(method_id=METHODS[1]),
            "decision": RunFilter(decision="reject"),
            "none": RunFilter(review="rejected"),
        }
        for name, wanted in asked.items():
            found.setdefault(name, []).append(_cpu_ms(partial(list_page, store, wanted, 50)))
    assert all(large <= 2 * small + 0.5 for small, large in found.values()), found


MEANT_FOR_AN_INDEX = ["*", '"', "NEAR(a b)", "a AND", "id : x", "%", "''", "-a", "^a", "a" * 8]


@settings(deadline=None, max_examples=80)
@given(
    st.dictionaries(
        st.sampled_from(FILTERS), st.text(st.characters(), max_size=20) | st.sampled_from(MEANT_FOR_AN_INDEX)
    )
)
def test_any_filter_is_refused_in_words_or_answered(texts: dict[str, str]) -> None:
    refused, wanted = "", RunFilter()
    try:
        wanted = run_filter(dict(texts))
    except Refused as refusal:
        refused = str(refusal)
    assert hidden(refused) == []
    assert page(_empty_index(), wanted, 10, None).runs == ()


@cache
def _empty_index() -> sqlite3.Connection:
    index = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    prepare(index)
    return index


def test_a_run_that_is_looked_up_has_the_line_that_the_list_shows(tmp_path: Path) -> None:
    """Once from the index, once from the store's own rows; one run is open, one was damaged, one has revisions."""
    path = big_history(tmp_path / "s.sqlite", 6)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("DELETE FROM record WHERE run_id = ?", (run_id_of(2),))
        connection.execute("UPDATE record SET body = 'torn' WHERE run_id = ?", (run_id_of(3),))
        newer = body_of(4) | {"revision": 9, "operator_id": "else", "review": "rejected"}
        connection.execute(
            "INSERT INTO record VALUES (?, 9, 'invalid', NULL, ?)", (run_id_of(4), json.dumps(newer))
        )
        connection.commit()
    lines = list_page(path, RunFilter(), 10).runs

    with reading(path) as connection:
        assert [find_run(connection, str(line.number)) for line in lines] == list(lines)
        assert list_runs(connection, 10) == list(lines)
    assert {line.outcome for line in lines} == {"", "endpoint", "invalid"}
    assert (lines[2].operator_id, lines[2].review, lines[2].revision) == ("else", "rejected", 9)
