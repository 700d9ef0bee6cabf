"""Passwords and PINs: kept as Argon2id hashes in a table of their own, beside the register and in no chain.

The register has the SHA-256 of each kept hash (which holds 16 random bytes), so that one that was put
there in another way is noticed. The text of a password is never kept, said or logged.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, TypeVar

from logger.core.register.events import RegisterEvent
from logger.core.register.password import normal_password, wait_left_s, wait_text
from logger.core.register.people import Person, find_person
from logger.core.register.state import RegisterState
from logger.core.run.commands import Refused
from logger.core.text import printable
from logger.store.chain import sha256_hex
from logger.store.errors import StoreError
from logger.store.register import answering, append_entry, read_state, register_head
from logger.store.writer import Writer

if TYPE_CHECKING:
    from argon2 import PasswordHasher

T = TypeVar("T")
MakeSet = Callable[[RegisterState, str], RegisterEvent]
"""Makes the entry about a password from the state and the fingerprint."""


@cache
def hasher() -> PasswordHasher:
    """Argon2id with 64 MiB, 3 passes, 4 lanes: the second recommended choice of RFC 9106."""
    from argon2 import PasswordHasher

    return PasswordHasher(time_cost=3, memory_cost=64 * 1024, parallelism=4)


def fingerprint(encoded: str) -> str:
    """What the register keeps of a kept hash."""
    return sha256_hex(encoded.encode())


@dataclass(frozen=True, slots=True)
class _Kept:
    """What is needed to judge one try."""

    person: Person
    encoded: str


class StorePeople:
    """Implements the People port over the store's one writer."""

    def __init__(self, writer: Writer, utc: Callable[[], str], hashing: PasswordHasher | None = None) -> None:
        """`hashing` is what makes and checks the hashes, else `hasher()`."""
        self._writer, self._utc, self._hashing = writer, utc, hashing

    def check(self, person_id: str, password: str) -> Person:
        """See the port. The try is counted before it is judged: no kill and no second try undoes that."""
        kept = self._do(lambda connection: _begin_try(connection, person_id, self._utc()))
        if not self._fits(kept.encoded, password):
            raise Refused(self._do(lambda connection: _failed_text(connection, kept.person.id)))
        self._do(lambda connection: _forget_tries(connection, kept.person.id))
        return kept.person

    def set_password(self, password: str, make: MakeSet) -> Future[RegisterEvent]:
        """See the port."""
        encoded = (self._hashing or hasher()).hash(normal_password(password))
        mark = fingerprint(encoded)

        def job(connection: sqlite3.Connection) -> RegisterEvent:
            event = append_entry(connection, lambda state: make(state, mark))
            _keep(connection, str(event.data["person_id"]), encoded)
            return event

        return answering(self._writer, job)

    def _fits(self, encoded: str, password: str) -> bool:
        from argon2.exceptions import InvalidHashError, VerificationError

        try:
            return (self._hashing or hasher()).verify(encoded, normal_password(password))
        except (VerificationError, InvalidHashError):
            return False

    def _do(self, job: Callable[[sqlite3.Connection], T]) -> T:
        return answering(self._writer, job).result()


def _begin_try(connection: sqlite3.Connection, person_id: str, utc: str) -> _Kept:
    """What the password is compared with; counts the try. Raises Refused."""
    person = find_person(read_state(connection).people, person_id)
    row = connection.execute(
        "SELECT encoded FROM secret WHERE person_id = ? ORDER BY entry DESC LIMIT 1", (person.id,)
    ).fetchone()
    if row is None or not person.fingerprint:
        raise Refused(
            f"{person.name} ({person.id}) has no password yet: `lastgrain people password {person.id}`."
        )
    if fingerprint(row[0]) != person.fingerprint:
        raise Refused(
            f"What is kept as the password of {person.id} is not what was set through the register: it is not "
            "accepted. Have an admin set a new one, and check the store (`lastgrain runs verify`)."
        )
    failures, failed_at = _tries(connection, person.id)
    left_s = wait_left_s(failures, failed_at, utc)
    if left_s > 0:
        raise Refused(wait_text(left_s, failures))
    connection.execute("INSERT OR REPLACE INTO attempt VALUES (?, ?, ?)", (person.id, failures + 1, utc))
    return _Kept(person, str(row[0]))


def _tries(connection: sqlite3.Connection, person_id: str) -> tuple[int, str]:
    row = connection.execute(
        "SELECT failures, failed_at FROM attempt WHERE person_id = ?", (person_id,)
    ).fetchone()
    return (0, "") if row is None else (int(row[0]), str(row[1]))


def _failed_text(connection: sqlite3.Connection, person_id: str) -> str:
    failures, failed_at = _tries(connection, person_id)
    left_s = wait_left_s(failures, failed_at, failed_at)
    after = f" {wait_text(left_s, failures)}" if left_s > 0 else " Try again."
    return f"The password of {printable(person_id)} is wrong.{after}"


def _forget_tries(connection: sqlite3.Connection, person_id: str) -> None:
    connection.execute("DELETE FROM attempt WHERE person_id = ?", (person_id,))


def _keep(connection: sqlite3.Connection, person_id: str, encoded: str) -> None:
    """The new hash, by its entry. The one before stays until the next, in case this commit is taken back."""
    entry, _ = register_head(connection)
    connection.execute(
        "DELETE FROM secret WHERE person_id = ?1 AND entry < "
        "(SELECT max(entry) FROM secret WHERE person_id = ?1)",
        (person_id,),
    )
    connection.execute("INSERT INTO secret VALUES (?, ?, ?)", (entry, person_id, encoded))
    _forget_tries(connection, person_id)


def secret_faults(connection: sqlite3.Connection) -> list[str]:
    """A sentence for every person whose kept password is not what was set through the register.

    Of a register that cannot be read nothing is said here; `register_faults` names it.
    """
    try:
        people = read_state(connection).people
    except (StoreError, ValueError, KeyError, TypeError):
        return []
    faults = []
    for person in people.values():
        row = connection.execute(
            "SELECT encoded FROM secret WHERE person_id = ? ORDER BY entry DESC LIMIT 1", (person.id,)
        ).fetchone()
        kept = "" if row is None else fingerprint(row[0])
        if kept != person.fingerprint:
            faults.append(
                f"The password of {person.id} is not the one that was set through the register: it is not "
                "accepted until an admin sets a new one."
            )
    return faults
