"""Passwords in the store: hashed, limited, fitting their entry; an older store gets the tables and loses nothing."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState
from logger.core.run.commands import Refused
from logger.store.history import list_runs, reading
from logger.store.journal import Journal
from logger.store.opening import connect
from logger.store.register import StoreRegister, register_events
from logger.store.schema import VERSION, found_version
from logger.store.secrets import StorePeople, fingerprint, hasher, secret_faults
from logger.store.verify import verify
from tests.core.register.entries import BALANCE, NOW
from tests.store.quick_runs import filled

CHEAP = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""The real thing with little work, so that a test may try often."""
PASSWORD = "Feines Korn 45"
WAIT_S = 10.0


class Bench:
    """A store with people in it, at a time that the test sets."""

    def __init__(self, path: Path) -> None:
        self.path, self.utc = path, NOW
        self.failures: list[Exception] = []
        self.journal = Journal(path, utc_now, UuidV7().new_id, on_failure=self.failures.append)
        self.register = StoreRegister(path, self.journal.writer, CheckPolicy())
        self.people = StorePeople(self.journal.writer, lambda: self.utc, CHEAP)

    def add(self, person_id: str, *roles: str) -> None:
        entry = {"id": person_id, "name": person_id.title(), "roles": list(roles)}
        self.register.enter(lambda state: self._entry(state, RegisterKind.PERSON_ADDED, entry)).result(WAIT_S)

    def set_password(self, person_id: str, password: str = PASSWORD) -> None:
        def make(state: RegisterState, mark: str) -> RegisterEvent:
            entry = {"person_id": person_id, "fingerprint": mark}
            return self._entry(state, RegisterKind.PASSWORD_SET, entry)

        self.people.set_password(password, make).result(WAIT_S)

    def _entry(self, state: RegisterState, kind: RegisterKind, entry: dict[str, Any]) -> RegisterEvent:
        return enter(
            kind,
            entry,
            by="anna",
            why="test",
            utc=NOW,
            state=state,
            policy=CheckPolicy(),
            balance=BALANCE,
            proof="password",
        )


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    made = Bench(tmp_path / "s.sqlite")
    made.add("anna", "admin", "reviewer")
    made.set_password("anna")
    yield made
    made.journal.close()
    assert made.failures == []


def test_the_right_password_is_taken_and_only_its_fingerprint_is_in_the_register(bench: Bench) -> None:
    assert bench.people.check("ANNA", PASSWORD).id == "anna"
    with reading(bench.path) as connection:
        entries = str(register_events(connection))
        (encoded,) = connection.execute("SELECT encoded FROM secret").fetchone()
        assert encoded.startswith("$argon2id$")
        assert encoded not in entries
        assert PASSWORD not in entries
        assert fingerprint(encoded) in entries
        assert all(finding.sound for finding in verify(connection))


def test_wrong_passwords_are_counted_before_they_are_judged_and_cost_time(bench: Bench) -> None:
    for _ in range(2):
        with pytest.raises(Refused, match=r"is wrong\. Try again"):
            bench.people.check("anna", "no")
    with pytest.raises(Refused, match=r"is wrong\. 3 wrong passwords in a row: wait 5 s"):
        bench.people.check("anna", "no")
    with pytest.raises(Refused, match=r"^3 wrong passwords in a row: wait 5 s"):
        bench.people.check("anna", PASSWORD)
    bench.utc = "2026-02-01T06:00:05.000Z"
    bench.people.check("anna", PASSWORD)
    with pytest.raises(Refused, match="Try again"):
        bench.people.check("anna", "no")


def test_waits_survive_the_end_of_the_program(tmp_path: Path) -> None:
    first = Bench(tmp_path / "s.sqlite")
    first.add("anna", "admin")
    first.set_password("anna")
    for _ in range(3):
        with pytest.raises(Refused):
            first.people.check("anna", "no")
    first.journal.close()
    second = Bench(tmp_path / "s.sqlite")
    with pytest.raises(Refused, match="wait 5 s"):
        second.people.check("anna", PASSWORD)
    second.journal.close()


def test_a_new_password_takes_the_place_of_the_old_one_and_ends_the_wait(bench: Bench) -> None:
    for _ in range(3):
        with pytest.raises(Refused):
            bench.people.check("anna", "no")
    for number in range(3):
        bench.set_password("anna", f"{PASSWORD} {number}")
    bench.people.check("anna", f"{PASSWORD} 2")
    with pytest.raises(Refused, match="is wrong"):
        bench.people.check("anna", f"{PASSWORD} 1")
    with reading(bench.path) as connection:
        assert connection.execute("SELECT count(*) FROM secret").fetchone() == (2,)


def test_a_hash_put_there_behind_the_registers_back_is_refused_and_found(bench: Bench) -> None:
    def swap(connection: sqlite3.Connection) -> None:
        connection.execute("UPDATE secret SET encoded = ?", (CHEAP.hash("mine now"),))

    bench.journal.writer.submit(swap).result(WAIT_S)
    with pytest.raises(Refused, match="not what was set through the register"):
        bench.people.check("anna", "mine now")
    with reading(bench.path) as connection:
        assert "password of anna" in secret_faults(connection)[0]


def test_who_has_no_password_or_is_not_registered_is_told_so(bench: Bench) -> None:
    bench.add("bruno", "operator")
    with pytest.raises(Refused, match="has no password yet"):
        bench.people.check("bruno", "")
    with pytest.raises(Refused, match="not registered"):
        bench.people.check("carla", PASSWORD)


def test_the_hash_that_is_used_is_argon2id_with_64_mib() -> None:
    """RFC 9106, section 4, second recommended option: t = 3, p = 4, m = 64 MiB (from memory)."""
    encoded = hasher().hash(PASSWORD)
    assert encoded.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert hasher().verify(encoded, PASSWORD)


def test_a_store_of_the_first_format_is_opened_and_nothing_is_lost(tmp_path: Path) -> None:
    path = filled(tmp_path / "s.sqlite", runs=2)
    with closing(sqlite3.connect(path)) as old:
        for name in ("secret", "attempt"):
            old.execute(f"DROP TABLE {name}")
        old.execute("DROP INDEX record_sample")
        old.execute("PRAGMA user_version = 1")
        old.commit()
        before = [
            old.execute(f"SELECT * FROM {table}").fetchall() for table in ("run", "batch", "record", "outbox")
        ]
    bench = Bench(path)
    bench.add("anna", "admin")
    bench.set_password("anna")
    bench.people.check("anna", PASSWORD)
    bench.journal.close()
    assert (tmp_path / "s.sqlite.format-1").exists()
    with closing(connect(path)) as connection:
        assert found_version(connection, path) == VERSION
        after = [
            connection.execute(f"SELECT * FROM {table}").fetchall()
            for table in ("run", "batch", "record", "outbox")
        ]
    assert after == before
    with reading(path) as connection:
        assert len(list_runs(connection, 10)) == 2
        assert all(finding.sound for finding in verify(connection))


def test_verify_names_who_has_a_password_that_came_another_way(bench: Bench) -> None:
    def swap(connection: sqlite3.Connection) -> None:
        connection.execute("UPDATE secret SET encoded = ?", (CHEAP.hash("mine now"),))

    bench.journal.writer.submit(swap).result(WAIT_S)
    with reading(bench.path) as connection:
        (finding,) = verify(connection)
    assert (finding.verdict, "password of anna" in finding.text) == ("altered", True)
