"""Each message once in the tables, whatever the order, the repeats, the losses and the batches."""

from __future__ import annotations

import json
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.sink import database as database_module
from logger.sink.batch import Arrival
from logger.sink.database import Cursor, DatabaseAway, DatabaseRefuses, SqliteDatabase, WrongDatabase
from logger.sink.keeping import Keeper
from logger.sink.report import commands as report_commands
from logger.sink.report import read_report, report_lines
from tests.publish.memory_outbox import utc_now
from tests.sink.plant import arrival, bench_report, run_of, select, status


@pytest.fixture
def database(tmp_path: Path) -> Iterator[SqliteDatabase]:
    made = SqliteDatabase(tmp_path / "plant.db")
    yield made
    made.close()


def keeper(database: SqliteDatabase) -> Keeper:
    return Keeper(database, utc_now)


def keep(database: SqliteDatabase, *arrivals: Arrival) -> None:
    keeper(database).keep(arrivals)


def test_a_run_is_in_the_tables(database: SqliteDatabase, tmp_path: Path) -> None:
    keep(database, *(arrival(seq) for seq in range(1, 6)))
    path = tmp_path / "plant.db"
    assert select(path, "SELECT seq, kind, run_id FROM message ORDER BY seq") == [
        (seq, kind, "run-1")
        for seq, kind in enumerate(("event", "readings", "event", "readings", "record"), 1)
    ]
    rows = select(path, "SELECT t_s, mass_g, dp_pa, stable FROM reading WHERE seq = 2 ORDER BY place")
    assert rows == [
        (0.0, 10.0, None, 1),
        (0.1, None, 2500.0, None),
        (0.1, 9.9, 2501.0, 0),
    ]
    record = select(path, "SELECT residue_pct, raw_residue_pct, decision, sample_id, body FROM newest_record")
    assert record[0][:4] == (12.9, 12.3, "accept", "s-1")
    assert json.loads(record[0][4])["seq"] == 5


def test_the_same_again_is_counted_and_changes_nothing(database: SqliteDatabase, tmp_path: Path) -> None:
    for _ in range(3):
        keep(database, *(arrival(seq) for seq in range(1, 6)))
    found = bench_report(database)
    assert (found.messages, found.duplicates, found.out_of_order, found.missing) == (5, 10, 0, ())
    assert select(tmp_path / "plant.db", "SELECT count(*) FROM reading") == [(6,)]


def test_a_repeat_of_what_was_deleted_since_is_a_repeat(database: SqliteDatabase, tmp_path: Path) -> None:
    keep(database, arrival(1), arrival(2))
    database.transaction(lambda cursor: cursor.run("DELETE FROM message WHERE seq = 1"))
    keep(database, arrival(1))
    found = bench_report(database)
    assert (found.duplicates, found.missing, found.messages) == (1, (), 1)
    assert select(tmp_path / "plant.db", "SELECT count(*) FROM set_aside") == [(0,)]


def test_a_gap_names_what_to_ask_for_and_closes_when_it_comes(database: SqliteDatabase) -> None:
    keep(database, arrival(4), arrival(5), arrival(13))
    found = bench_report(database)
    assert found.missing == ((1, 3), (6, 12))
    assert [command.split(" --from ")[1] for command in found.republish] == [
        "1 --to 3 --by ID",
        "6 --to 12 --by ID",
    ]
    lines = "\n".join(report_lines(database.transaction(read_report)))
    assert "missing 10: seq 1 to 3, 6 to 12" in lines
    assert "lastgrain runs republish --seq --from 6 --to 12 --by ID" in lines
    keep(database, *(arrival(seq) for seq in (12, 1, 9, 3, 2, 6, 7, 8, 10, 11)))
    found = bench_report(database)
    assert (found.missing, found.out_of_order, found.republish) == ((), 10, ())


def test_many_gaps_are_asked_for_in_one_go(database: SqliteDatabase) -> None:
    keep(database, *(arrival(seq) for seq in range(1, 21, 2)))
    assert bench_report(database).republish == ("lastgrain runs republish --seq --from 2 --to 18 --by ID",)


def test_the_command_it_names_exists() -> None:
    """What a person is told to type must be understood by the bench's own command line."""
    from typer.testing import CliRunner

    from logger.cli import app

    told = report_commands([(6, 12)])[0].split()
    assert told[0] == "lastgrain"
    answer = CliRunner().invoke(app, [*told[1:], "--help"])
    assert answer.exit_code == 0
    assert "--seq" in answer.output


def test_another_message_under_a_known_number_is_an_alarm(database: SqliteDatabase, tmp_path: Path) -> None:
    other = json.loads(arrival(1).payload) | {"message_id": "another"}
    keep(database, arrival(1), Arrival(arrival(1).topic, json.dumps(other).encode()))
    (row,) = select(tmp_path / "plant.db", "SELECT fault, reason FROM set_aside")
    assert row[0] == "conflict"
    assert "two benches use one name" in row[1]
    assert bench_report(database).duplicates == 0


def test_revisions_stand_beside_each_other_and_the_newest_is_shown(
    database: SqliteDatabase, tmp_path: Path
) -> None:
    second = json.loads(arrival(10).payload) | {"run_id": "run-1", "revision": 2, "review": "accepted"}
    keep(database, Arrival(arrival(10).topic, json.dumps(second).encode()))
    keep(database, *(arrival(seq) for seq in range(1, 10)))
    path = tmp_path / "plant.db"
    assert select(path, "SELECT revision FROM record ORDER BY revision") == [(1,), (2,)]
    assert select(path, "SELECT revision, review FROM newest_record") == [(2, "accepted")]
    assert bench_report(database).missing == ()


def test_one_revision_with_two_contents_is_an_alarm(database: SqliteDatabase, tmp_path: Path) -> None:
    again = json.loads(arrival(10).payload) | {"run_id": "run-1"}
    same = again | {"record_sha256": json.loads(arrival(5).payload)["record_sha256"]}
    keep(database, arrival(5), Arrival(arrival(10).topic, json.dumps(same).encode()))
    path = tmp_path / "plant.db"
    assert select(path, "SELECT count(*) FROM set_aside") == [(0,)]
    other = again | {"seq": 15, "message_id": "id-15"}
    keep(database, Arrival(arrival(10).topic, json.dumps(other).encode()))
    assert select(path, "SELECT fault FROM set_aside") == [("conflict",)]
    assert select(path, "SELECT count(*) FROM record") == [(1,)]


def test_what_is_no_message_is_set_aside_once_and_the_others_are_kept(
    database: SqliteDatabase, tmp_path: Path
) -> None:
    bad = Arrival(arrival(1).topic, b"\x00not json\xff")
    for _ in range(2):
        keep(database, arrival(1), bad, arrival(2))
    assert select(tmp_path / "plant.db", "SELECT fault, payload FROM set_aside") == [
        ("malformed", bad.payload)
    ]
    assert bench_report(database).messages == 2


def test_the_status_tells_of_what_has_not_come(database: SqliteDatabase) -> None:
    keep(database, arrival(1), status(last_seq=9, waiting=3))
    found = bench_report(database)
    assert (found.state, found.waiting, found.behind) == ("online", 3, 5)
    assert found.republish == ("lastgrain runs republish --seq --from 2 --to 9 --by ID",)
    keep(database, status(at="2026-03-02T07:00:00.000Z", last_seq=2, state="offline", cause="shut-down"))
    assert bench_report(database).state == "online"
    keep(
        database,
        status(at="2026-03-02T07:00:00.000Z", last_seq=2, state="offline", cause="link-lost", waiting=0),
    )
    found = bench_report(database)
    assert (found.state, found.behind) == ("offline", 8)


@settings(deadline=None, max_examples=12)
@given(data=st.data())
def test_reordered_repeated_lost_in_any_batches_and_a_database_that_fails(data: st.DataObject) -> None:
    """A list of what the broker may do, with a database that is away now and then; then the lost come."""
    size = data.draw(st.integers(1, 24))
    numbers = st.tuples(st.sampled_from(("a1", "b2")), st.integers(1, size))
    stream = data.draw(st.lists(numbers, max_size=60))
    with tempfile.TemporaryDirectory() as folder:
        database = Flaky(Path(folder) / "plant.db", data.draw(st.lists(st.booleans(), max_size=20)))
        subject = Keeper(database, utc_now)
        while stream:
            much = data.draw(st.integers(1, len(stream)))
            keep_stubbornly(subject, [arrival(seq, bench) for bench, seq in stream[:much]])
            for bench in {bench for bench, _ in stream[:much]}:
                check_against_set(database, bench)
            stream = stream[much:]
        for bench in ("a1", "b2"):
            keep_stubbornly(subject, [arrival(seq, bench) for seq in range(size, 0, -1)])
            found = bench_report(database, bench)
            assert (found.messages, found.last_seq, found.missing) == (size, size, ())
        path = Path(folder) / "plant.db"
        assert select(path, "SELECT count(*) FROM record") == [(2 * (size // 5),)]
        assert {row[0] for row in select(path, "SELECT run_id FROM event")} == {
            run_of(seq) for seq in range(1, size + 1) if (seq - 1) % 5 in (0, 2)
        }
        database.close()


class Flaky(SqliteDatabase):
    """Fails before or after its work as the list says; a commit that failed afterwards did happen."""

    def __init__(self, path: Path, failures: list[bool]) -> None:
        super().__init__(path)
        self.failures = failures

    def transaction(self, work: Callable[[Cursor], Any]) -> Any:
        if not self.failures:
            return super().transaction(work)
        if self.failures.pop():
            super().transaction(work)
        raise DatabaseAway("the network took the answer")


def keep_stubbornly(subject: Keeper, arrivals: list[Arrival]) -> None:
    while True:
        try:
            subject.keep(arrivals)
            return
        except DatabaseAway:
            continue


def check_against_set(database: Flaky, bench: str) -> None:
    failures, database.failures = database.failures, []
    kept = {
        row[0]
        for row in database.transaction(
            lambda cursor: cursor.rows("SELECT seq FROM message WHERE bench = ?", (bench,))
        )
    }
    found = bench_report(database, bench)
    missing = {seq for first, last in found.missing for seq in range(first, last + 1)}
    assert missing == set(range(1, max(kept, default=0))) - kept
    assert found.messages == len(kept)
    database.failures = failures


def test_a_locked_file_is_away_and_comes_back(
    database: SqliteDatabase, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(database_module, "_LOCK_WAIT_S", 0.05)
    keep(database, arrival(1))
    database.close()
    other = sqlite3.connect(tmp_path / "plant.db", isolation_level=None)
    other.execute("BEGIN EXCLUSIVE")
    with pytest.raises(DatabaseAway, match="locked"):
        keep(database, arrival(2))
    other.execute("ROLLBACK")
    other.close()
    keep(database, arrival(2))
    assert bench_report(database).messages == 2


def test_one_message_that_the_database_refuses_holds_nothing_up(tmp_path: Path) -> None:
    class Picky(SqliteDatabase):
        def transaction(self, work: Callable[[Cursor], Any]) -> Any:
            def picky(cursor: Cursor) -> Any:
                done = work(cursor)
                if cursor.rows("SELECT 1 FROM message WHERE seq = 2"):
                    raise DatabaseRefuses("value out of range")
                return done

            return super().transaction(picky)

    database = Picky(tmp_path / "plant.db")
    Keeper(database, utc_now).keep([arrival(1), arrival(2), arrival(3)])
    assert select(tmp_path / "plant.db", "SELECT seq FROM message") == [(1,), (3,)]
    assert select(tmp_path / "plant.db", "SELECT fault, reason FROM set_aside") == [
        ("not-storable", "value out of range")
    ]
    database.close()


def test_the_file_of_another_program_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE record (x)")
    other.close()
    with pytest.raises(WrongDatabase, match="tables of others"):
        keep(SqliteDatabase(path), arrival(1))
    path.write_text("no database" * 1000)
    with pytest.raises(WrongDatabase, match="no SQLite file"):
        keep(SqliteDatabase(path), arrival(1))
    assert path.read_text().startswith("no database")


def test_tables_of_a_newer_sink_are_refused(tmp_path: Path) -> None:
    first = SqliteDatabase(tmp_path / "plant.db")
    keep(first, arrival(1))
    first.transaction(lambda cursor: cursor.run("UPDATE sink SET version = 2"))
    first.close()
    with pytest.raises(WrongDatabase, match="this sink knows 1"):
        keep(SqliteDatabase(tmp_path / "plant.db"), arrival(2))
