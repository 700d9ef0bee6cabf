"""Finding runs, and lists that stay as fast with 100,000 runs as with a thousand."""

from __future__ import annotations

import sqlite3
import statistics
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from logger.store import history
from logger.store.errors import StoreError
from logger.store.outbox_rows import newest_record, unsent, waiting
from tests.store.quick_runs import filled, open_journal

IDS = [f"00000000-0000-7000-8000-{seed:012d}" for seed in range(4)]


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return filled(tmp_path_factory.mktemp("history") / "s.sqlite", runs=3)


@pytest.mark.parametrize(("which", "number"), [("2", 2), (IDS[3], 3), (IDS[1], 1)])
def test_a_run_is_found_by_number_or_id(store: Path, which: str, number: int) -> None:
    with history.reading(store) as connection:
        assert history.find_run(connection, which).number == number


@pytest.mark.parametrize(
    ("which", "told"),
    [
        ("4", "no run 4"),
        ("0000", "no run 0000"),
        ("00000000-0000-7", "Several runs begin with"),
        ("%", "no run %"),
        ("_", "no run _"),
        ("", "no run"),
        ("²", "no run"),
        ("٣", "no run"),
        ("x' OR 1=1 --", "no run"),
    ],
)
def test_none_or_several_is_said(store: Path, which: str, told: str) -> None:
    with history.reading(store) as connection, pytest.raises(StoreError, match=told):
        history.find_run(connection, which)


def test_a_reader_sees_one_moment_and_cannot_write(store: Path, tmp_path: Path) -> None:
    journal = open_journal(tmp_path / "s.sqlite")
    with history.reading(journal.path) as connection:
        before = history.list_runs(connection, 10)
        journal.writer.submit(lambda c: c.execute("INSERT INTO meta VALUES ('x', 'y')")).result()
        assert connection.execute("SELECT count(*) FROM meta WHERE key = 'x'").fetchone() == (0,)
        assert history.list_runs(connection, 10) == before
    with pytest.raises(StoreError, match="read-only"), history.reading(journal.path) as connection:
        connection.execute("DELETE FROM meta")
    journal.close()


def test_there_is_no_store_yet(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no store yet"), history.reading(tmp_path / "s.sqlite"):
        pass
    assert list(tmp_path.iterdir()) == []


def many_runs(path: Path, count: int) -> Path:
    """Rows as a bench of many years has them: runs with a record, messages sent."""
    open_journal(path).close()
    body = '{"record":"' + "x" * 3000 + '"}'
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("BEGIN")
        numbers = range(1, count + 1)
        connection.executemany(
            "INSERT INTO run VALUES (?, ?, 'S', 'op', 'L', 'm', 1, '2026-01-05T06:00:00.000Z', 1)",
            ((f"{number:032x}", number) for number in numbers),
        )
        connection.executemany(
            "INSERT INTO record VALUES (?, 1, 'endpoint', 10.5, ?)",
            ((f"{number:032x}", body) for number in numbers),
        )
        connection.executemany(
            "INSERT INTO outbox VALUES (?, ?, ?, ?, '', '{}', '', 0, NULL, '2026', NULL)",
            (
                (2 * n - k, f"{n}-{k}", ("event", "record")[k - 1], f"{n:032x}")
                for n in numbers
                for k in (1, 2)
            ),
        )
        connection.execute("COMMIT")
    return path


def questions(count: int) -> dict[str, Callable[[sqlite3.Connection], object]]:
    return {
        "list": lambda c: history.list_runs(c, 20),
        "number": lambda c: history.find_run(c, str(count // 2)),
        "id": lambda c: history.find_run(c, f"{count // 3:032x}"),
        "record": lambda c: history.record_body(c, f"{count // 3:032x}"),
        "open runs": history.runs_without_record,
        "next messages": lambda c: unsent(c, 100, 256 * 1024),
        "newest record": newest_record,
        "waiting": waiting,
    }


def times_ms(path: Path, count: int) -> dict[str, float]:
    """Medians of each question, after one that warms up."""
    found = {}
    with history.reading(path) as connection:
        for name, ask in questions(count).items():
            ask(connection)
            taken = []
            for _ in range(30):
                start_s = time.perf_counter()
                ask(connection)
                taken.append(1000 * (time.perf_counter() - start_s))
            found[name] = statistics.median(taken)
    return found


def test_every_question_uses_an_index(tmp_path: Path) -> None:
    """What stays flat is shown by SQLite's own plan, not by a stop-watch."""
    path = many_runs(tmp_path / "s.sqlite", 2000)
    with history.reading(path) as connection:
        asked: list[str] = []
        connection.set_trace_callback(asked.append)
        for ask in questions(2000).values():
            ask(connection)
        connection.set_trace_callback(None)
        plans = {
            query: " ".join(str(row[3]) for row in connection.execute(f"EXPLAIN QUERY PLAN {query}"))
            for query in asked
        }
    assert len(plans) >= 8
    for query, plan in plans.items():
        scans = [part for part in plan.split("SCAN ")[1:] if "USING" not in part.split("SEARCH")[0]]
        assert scans == [] or "LIMIT" in query, (query, plan)


@pytest.mark.full
def test_lists_stay_flat_to_a_hundred_thousand_runs(tmp_path: Path) -> None:
    small = times_ms(many_runs(tmp_path / "small.sqlite", 1000), 1000)
    large = times_ms(many_runs(tmp_path / "large.sqlite", 100_000), 100_000)
    for name, ms in large.items():
        print(f"{name:14} {small[name]:.3f} ms with 1,000 runs, {ms:.3f} ms with 100,000")
    assert all(ms <= 2 * small[name] + 0.05 for name, ms in large.items())
