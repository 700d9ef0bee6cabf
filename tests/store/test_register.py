"""The register in the store: kept in order, chained, counted from the runs, every altered entry named."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.core.refusal import ResultError
from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState
from logger.core.run.commands import Refused
from logger.core.run.plan import plain_json
from logger.store.history import reading
from logger.store.journal import Journal
from logger.store.register import (
    StoreRegister,
    head_text,
    register_events,
    register_head,
    sieve_runs,
    sieve_tares,
)
from logger.store.verify import verify
from tests.app.stores import MadeStore, made_store
from tests.core.register.entries import BALANCE, NOW, POLICY, SIEVE
from tests.core.run.made_runs import PLANNED, method

WAIT_S = 10.0


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    return made_store(tmp_path)


@pytest.fixture
def journal(store: MadeStore) -> Iterator[Journal]:
    failures: list[Exception] = []
    made = Journal(store.data.store, utc_now, UuidV7().new_id, on_failure=failures.append)
    yield made
    made.close()
    assert failures == []


def add(
    register: StoreRegister, entry: dict[str, Any], kind: RegisterKind = RegisterKind.SIEVE_ADDED
) -> Future[RegisterEvent]:
    def make(state: RegisterState) -> RegisterEvent:
        return enter(kind, entry, by="op-7", why="", utc=NOW, state=state, policy=POLICY, balance=BALANCE)

    return register.enter(make)


def test_entries_are_kept_chained_and_folded(store: MadeStore, journal: Journal) -> None:
    register = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    assert register.look("S-45-01", "m", 1).head == ""
    add(register, SIEVE).result(WAIT_S)
    add(register, {"sieve_id": "S-45-01", "mass_g": 412.0}, RegisterKind.SIEVE_TARED).result(WAIT_S)
    look = register.look("S-45-01", "m", 1)
    assert [tare.mass_g for tare in look.state.sieves["S-45-01"].tares] == [412.0]
    with reading(store.data.store) as connection:
        number, sha256 = register_head(connection)
        assert look.head == f"{number}:{sha256}"
        assert number == 2
        assert [event.by for event in register_events(connection)] == ["op-7", "op-7"]
        assert all(finding.sound for finding in verify(connection))


def test_a_refusal_is_an_answer_and_keeps_nothing(store: MadeStore, journal: Journal) -> None:
    """The fixture sees to it that it is not told as a failure of the store either."""
    register = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    add(register, SIEVE).result(WAIT_S)
    with pytest.raises(ResultError, match="already"):
        add(register, SIEVE).result(WAIT_S)
    with pytest.raises(Refused, match="cannot be printed"):
        add(register, SIEVE | {"id": "S\u202e"}).result(WAIT_S)
    with reading(store.data.store) as connection:
        assert len(register_events(connection)) == 1


def test_entries_handed_over_at_once_see_each_other(store: MadeStore, journal: Journal) -> None:
    """Two consoles enter the same sieve: one is refused, whoever comes second."""
    register = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    futures = [add(register, SIEVE) for _ in range(5)]
    outcomes = [future.exception(WAIT_S) for future in futures]
    assert [outcome is None for outcome in outcomes] == [True, False, False, False, False]


def test_runs_on_a_sieve_are_counted_from_their_records(store: MadeStore) -> None:
    store.run(method(), sieve=PLANNED, utc="2026-02-01T06:00:00.000Z")
    store.run(method(), sieve=PLANNED, utc="2026-02-02T06:00:00.000Z")
    store.run(method(), sieve=PLANNED, outcome=None)
    store.run(method())
    with reading(store.data.store) as connection:
        assert sieve_runs(connection, "S-45-01") == 2, "an aborted run put no charge on it"
        assert sieve_runs(connection, "S-45-01", "2026-02-02") == 1
        assert sieve_runs(connection, "S-99") == 0
        assert [mass_g for _, _, mass_g in sieve_tares(connection, "S-45-01")] == [400.0, 400.0]
        plan = connection.execute(
            "EXPLAIN QUERY PLAN SELECT count(*) FROM record WHERE "
            "CASE WHEN json_valid(record.body) THEN json_extract(record.body, '$.sieve.id') END = 'S'"
        ).fetchall()
        assert "record_sieve" in str(plan)


def test_the_method_of_a_used_revision_is_the_first_one(store: MadeStore) -> None:
    store.run(method())
    journal = Journal(store.data.store, utc_now, UuidV7().new_id, on_failure=lambda error: None)
    register = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    assert register.look("", "m", 1).used_method == plain_json(method())
    assert register.look("", "m", 2).used_method is None
    journal.close()


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (
            "UPDATE register SET entry = replace(entry, '412', '413') WHERE seq = 2",
            "Entry 2 of the register was altered",
        ),
        ("DELETE FROM register WHERE seq = 2", "Entries 2 to 2 of the register are missing"),
        ("UPDATE register SET before = hash WHERE seq = 3", "Entry 3 of the register does not follow"),
    ],
)
def test_verify_names_every_entry_that_is_not_what_it_was(
    store: MadeStore, journal: Journal, statement: str, words: str
) -> None:
    register = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    add(register, SIEVE).result(WAIT_S)
    for mass_g in (412.0, 412.01):
        add(register, {"sieve_id": "S-45-01", "mass_g": mass_g}, RegisterKind.SIEVE_TARED).result(WAIT_S)
    journal.writer.submit(lambda connection: connection.execute(statement).rowcount).result(WAIT_S)
    with reading(store.data.store) as connection:
        findings = [finding for finding in verify(connection) if not finding.sound]
    assert words in " ".join(finding.text for finding in findings)


def test_an_older_register_put_in_place_is_noticed_by_the_runs(store: MadeStore) -> None:
    """A run's record holds the register's head, so the journal vouches for the register."""
    store.run(method())
    with closing(sqlite3.connect(store.data.store)) as connection:
        body = connection.execute("SELECT body FROM record").fetchone()[0]
        forged = body.replace('"register_head":""', f'"register_head":"3:{"0" * 64}"')
        assert forged != body
        connection.execute("UPDATE record SET body = ?", (forged,))
        connection.commit()
    with reading(store.data.store) as connection:
        texts = " ".join(finding.text for finding in verify(connection))
    assert "A run was started with entry 3 of the register" in texts


def cut_after(store: MadeStore, last: int, *more: str) -> None:
    with closing(sqlite3.connect(store.data.store)) as connection:
        connection.execute("DELETE FROM register WHERE seq > ?", (last,))
        for statement in more:
            connection.execute(statement)
        connection.commit()


def verdicts(store: MadeStore, outside: str = "") -> dict[str, str]:
    with reading(store.data.store) as connection:
        return {one.verdict: one.text for one in verify(connection, outside_register=outside)}


def three_entries(store: MadeStore, journal: Journal) -> str:
    """A run, then three entries that no run has frozen; the register's head."""
    register = StoreRegister(store.data.store, journal.writer, CheckPolicy())
    add(register, SIEVE).result(WAIT_S)
    for mass_g in (412.0, 412.01):
        add(register, {"sieve_id": "S-45-01", "mass_g": mass_g}, RegisterKind.SIEVE_TARED).result(WAIT_S)
    journal.close()
    with reading(store.data.store) as connection:
        return head_text(connection)


def test_entries_cut_off_after_the_last_run_are_missed_without_a_password_among_them(
    store: MadeStore, journal: Journal
) -> None:
    head = three_entries(store, journal)
    assert head in verdicts(store)["no-outside-head"]  # to be kept elsewhere

    cut_after(store, 2)

    assert verdicts(store) == {
        "missing-tail": "The register lacks entry 3, which was noted as its newest: its end was cut off."
    }


def test_what_was_cut_off_is_told_for_good_though_more_is_entered(store: MadeStore, journal: Journal) -> None:
    three_entries(store, journal)
    cut_after(store, 1)
    again = Journal(store.data.store, utc_now, UuidV7().new_id, on_failure=lambda error: None)
    register = StoreRegister(store.data.store, again.writer, CheckPolicy())
    for mass_g in (413.0, 413.01, 413.02):
        add(register, {"sieve_id": "S-45-01", "mass_g": mass_g}, RegisterKind.SIEVE_TARED).result(WAIT_S)
    again.close()

    (text,) = [text for verdict, text in verdicts(store).items() if verdict == "rewritten"]
    assert "Entry 3 of the register, which was its newest when more was entered, has another hash" in text


def test_who_takes_the_note_away_too_is_found_out_by_a_head_kept_elsewhere(
    store: MadeStore, journal: Journal
) -> None:
    head = three_entries(store, journal)
    assert "agrees with entry 3 as given" in verdicts(store, head)["no-outside-head"]

    cut_after(store, 2, "DELETE FROM meta WHERE key = 'register_head'")

    assert set(verdicts(store)) == {"no-outside-head"}  # as in a store of an earlier program
    assert verdicts(store, head) == {
        "missing-tail": "The register lacks entry 3, the head given: its end was cut off."
    }
    assert set(verdicts(store, f"2:{'0' * 64}")) == {"rewritten"}


def test_entries_of_an_earlier_program_behind_the_note_are_no_fault(
    store: MadeStore, journal: Journal
) -> None:
    """It does not know the note, so that the register goes on behind it."""
    three_entries(store, journal)
    with closing(sqlite3.connect(store.data.store)) as connection:
        before = connection.execute("SELECT hash FROM register WHERE seq = 2").fetchone()[0]
        connection.execute("UPDATE meta SET value = ? WHERE key = 'register_head'", (f"2:{before}",))
        connection.commit()

    assert set(verdicts(store)) == {"no-outside-head"}


@pytest.mark.parametrize("spoilt", ["", "x", "3", ":", "9" * 400 + ":0"])
def test_a_spoilt_note_is_a_finding_and_no_traceback(store: MadeStore, journal: Journal, spoilt: str) -> None:
    three_entries(store, journal)
    with closing(sqlite3.connect(store.data.store)) as connection:
        connection.execute("UPDATE meta SET value = ? WHERE key = 'register_head'", (spoilt,))
        connection.commit()

    assert set(verdicts(store)) <= {"missing-tail", "rewritten", "no-outside-head"}
    assert spoilt == "" or set(verdicts(store)) != {"no-outside-head"}


def test_the_command_takes_a_head_of_the_register(store: MadeStore, journal: Journal) -> None:
    head = three_entries(store, journal)

    assert store("runs", "verify", "--register", head).code == 0
    refused = store("runs", "verify", "--register", f"4:{'0' * 64}")
    assert (refused.code, refused.out.split(":")[0]) == (5, "missing-tail")
    assert store("runs", "verify", "--register", "4:0").code == 2
    assert store("runs", "verify", "1", "--register", head).code == 2
