"""The register in the store: entries as canonical text, chained by hash as the journal is.

A chain of its own, since entries belong to no run; each run's plan holds the register's head at its start,
so that the journal vouches for the register up to there.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import closing
from pathlib import Path
from typing import Any, TypeVar, cast

from logger.core.refusal import ResultError
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.register.look import RegisterLook, balance_since, sieve_since
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState, fold_register
from logger.core.run.commands import Refused
from logger.core.run.plan import canonical_json
from logger.core.run.repeats import EarlierResult
from logger.core.text import printable
from logger.store.chain import entry_hash, sha256_hex
from logger.store.errors import StoreError
from logger.store.history import reading
from logger.store.register_end import note_end
from logger.store.writer import Writer

GENESIS = sha256_hex(b"lastgrain register 1")
"""What the first entry follows."""

_USED_METHOD = """
SELECT json_extract(record.body, '$.method.frozen') FROM run JOIN record ON record.run_id = run.run_id
WHERE run.method_id = ? AND run.method_revision = ? AND record.revision = 1 AND json_valid(record.body)
ORDER BY run.number LIMIT 1
"""
# The expression is that of the index `record_sieve`.
_OF_SIEVE = """
FROM record JOIN run ON run.run_id = record.run_id
WHERE CASE WHEN json_valid(record.body) THEN json_extract(record.body, '$.sieve.id') END = ?
  AND record.revision = 1 AND json_array_length(record.body, '$.weighings') > 0
"""
# A run is of every sample that any of its revisions names: correcting it away hides no result. The expression is
# that of the index `record_sample`.
_OF_SAMPLE = """
SELECT run.number, record.run_id, record.revision, record.outcome, record.residue_pct,
       json_extract(record.body, '$.review'), json_extract(record.body, '$.aperture_um'),
       json_extract(record.body, '$.assessment.decision.outcome'),
       json_extract(record.body, '$.sample.sample_id'), json_extract(record.body, '$.sample.lot')
FROM record JOIN run ON run.run_id = record.run_id
WHERE record.run_id IN (
    SELECT named.run_id FROM record AS named
    WHERE CASE WHEN json_valid(named.body) THEN json_extract(named.body, '$.sample.sample_id') END = ?
      AND json_extract(named.body, '$.sample.lot') = ?)
  AND run.method_id = ? AND json_valid(record.body)
  AND record.revision = (SELECT max(revision) FROM record AS newest WHERE newest.run_id = record.run_id)
ORDER BY run.number
"""
Make = Callable[[RegisterState], RegisterEvent]
T = TypeVar("T")


def entry_text(event: RegisterEvent) -> str:
    """An entry as it is hashed and kept."""
    plain = {"kind": event.kind.value, "utc": event.utc, "by": event.by, "why": event.why, "data": event.data}
    return canonical_json(plain)


def _event(text: str) -> RegisterEvent:
    plain = json.loads(text)
    return RegisterEvent(RegisterKind(plain["kind"]), plain["utc"], plain["by"], plain["why"], plain["data"])


def register_events(connection: sqlite3.Connection) -> list[RegisterEvent]:
    """All entries, oldest first. Raises StoreError when one cannot be read."""
    found = []
    for seq, text in connection.execute("SELECT seq, entry FROM register ORDER BY seq"):
        try:
            found.append(_event(text))
        except (ValueError, KeyError, TypeError) as error:
            raise StoreError(
                f"Entry {seq} of the register is damaged ({error}): restore a backup."
            ) from error
    return found


def read_state(connection: sqlite3.Connection) -> RegisterState:
    """The register as it stands. Raises StoreError when an entry cannot be read."""
    return fold_register(register_events(connection))


def register_head(connection: sqlite3.Connection) -> tuple[int, str]:
    """Number and hash of the newest entry; 0 and the genesis before the first."""
    row = connection.execute("SELECT seq, hash FROM register ORDER BY seq DESC LIMIT 1").fetchone()
    return (0, GENESIS) if row is None else (int(row[0]), str(row[1]))


def head_text(connection: sqlite3.Connection) -> str:
    """The newest entry as NUMBER:SHA256, "" before the first."""
    number, sha256 = register_head(connection)
    return f"{number}:{sha256}" if number else ""


def head_before(connection: sqlite3.Connection, utc: str) -> str:
    """The newest of the entries made before a time, as NUMBER:SHA256, "" where there is none."""
    row = connection.execute(
        "SELECT seq || ':' || hash FROM register WHERE json_extract(entry, '$.utc') < ? ORDER BY seq DESC LIMIT 1",
        (utc,),
    ).fetchone()
    return "" if row is None else str(row[0])


def append_entry(connection: sqlite3.Connection, make: Make) -> RegisterEvent:
    """Make the next entry from the state as it is and keep it, in the caller's transaction."""
    event = make(read_state(connection))
    last, before = register_head(connection)
    text = entry_text(event)
    sha256 = entry_hash(before, last + 1, text)
    connection.execute("INSERT INTO register VALUES (?, ?, ?, ?)", (last + 1, text, before, sha256))
    note_end(connection, last + 1, sha256)
    return event


def register_faults(connection: sqlite3.Connection) -> Iterator[str]:
    """A sentence for every entry that is not what it was, or is missing."""
    expected, before = 1, GENESIS
    rows = connection.execute("SELECT seq, entry, before, hash FROM register ORDER BY seq")
    for seq, text, follows, kept in rows:
        if seq != expected:
            yield f"Entries {expected} to {seq - 1} of the register are missing."
        elif follows != before:
            yield f"Entry {seq} of the register does not follow the entry before it."
        if entry_hash(follows, seq, text) != kept:
            yield f"Entry {seq} of the register was altered."
        expected, before = seq + 1, kept
    yield from unknown_heads(connection)


def unknown_heads(connection: sqlite3.Connection, run_id: str = "") -> Iterator[str]:
    """Heads that runs (or the one run) have frozen and the register no longer has: it was cut or rewritten."""
    only, values = ("run_id = ? AND", (run_id,)) if run_id else ("", ())
    heads = connection.execute(
        f"SELECT DISTINCT json_extract(body, '$.register_head') FROM record WHERE {only} "
        "json_valid(body) AND coalesce(json_extract(body, '$.register_head'), '') <> ''",
        values,
    )
    for (head,) in heads:
        number, _, sha256 = str(head).partition(":")
        known = connection.execute("SELECT hash FROM register WHERE seq = ?", (int(number),)).fetchone()
        if number != "0" and (known is None or known[0] != sha256):
            yield f"A run was started with entry {number} of the register, which is no longer there as it was."


def runs_since(connection: sqlite3.Connection, utc: str) -> int:
    """Runs started at or after this time."""
    row = connection.execute("SELECT count(*) FROM run WHERE started_at >= ?", (utc,)).fetchone()
    return int(row[0])


def sieve_runs(connection: sqlite3.Connection, sieve_id: str, since: str = "") -> int:
    """Runs on this sieve, with a charge put on it, since a time (UTC text)."""
    query = f"SELECT count(*) {_OF_SIEVE} AND run.started_at >= ?"
    return int(connection.execute(query, (sieve_id, since)).fetchone()[0])


def sieve_tares(
    connection: sqlite3.Connection, sieve_id: str, limit: int = 50
) -> list[tuple[int, str, float]]:
    """Number of the run, its start and the sieve's mass in g, of the newest runs on it, oldest first.

    Runs with the balance beside only: on a platform the tare holds the rest of the unit.
    """
    query = (
        f"SELECT run.number, run.started_at, json_extract(record.body, '$.tare_g') {_OF_SIEVE} "
        "AND json_extract(record.body, '$.arrangement') = 'beside' ORDER BY run.number DESC LIMIT ?"
    )
    return connection.execute(query, (sieve_id, limit)).fetchall()[::-1]


def earlier_results(
    connection: sqlite3.Connection, sample_id: str, lot: str, method_id: str
) -> Iterator[EarlierResult]:
    """Runs that are or were of a sample by a method, as their newest records say, oldest first."""
    for row in connection.execute(_OF_SAMPLE, (sample_id, lot, method_id)):
        number, run_id, revision, outcome, residue_pct, review, aperture_um, decision, *now = row
        yield EarlierResult(
            number=number,
            run_id=run_id,
            revision=revision,
            outcome=outcome,
            review=review,
            aperture_um=aperture_um,
            residue_pct=residue_pct,
            decision=decision,
            now="" if now == [sample_id, lot] else _named(*now),
        )


def _named(sample_id: str, lot: str) -> str:
    return f"sample {printable(sample_id)}{f', lot {printable(lot)}' if lot else ''}"


def look(
    connection: sqlite3.Connection, policy: CheckPolicy, sieve_id: str, method_id: str, revision: int
) -> RegisterLook:
    """What the start of a run needs to know."""
    state = read_state(connection)
    since, entry = balance_since(state, policy), state.sieves.get(sieve_id)
    used = connection.execute(_USED_METHOD, (method_id, revision)).fetchone()
    return RegisterLook(
        state=state,
        head=head_text(connection),
        runs_since_balance=0 if since is None else runs_since(connection, since),
        sieve_runs=sieve_runs(connection, sieve_id) if entry else 0,
        sieve_runs_since_check=sieve_runs(connection, sieve_id, sieve_since(entry)) if entry else 0,
        used_method=None if used is None or used[0] is None else json.loads(used[0]),
    )


class StoreRegister:
    """Implements the Register port over the store's one writer."""

    def __init__(self, path: Path, writer: Writer, policy: CheckPolicy) -> None:
        """Opens nothing; each look is a short read."""
        self._path, self._writer, self._policy = path, writer, policy

    def look(self, sieve_id: str, method_id: str, revision: int) -> RegisterLook:
        """See the port."""
        try:
            with reading(self._path) as connection:
                return look(connection, self._policy, sieve_id, method_id, revision)
        except StoreError as error:
            raise Refused(f"The register cannot be read: {error}") from error

    def earlier(self, sample_id: str, lot: str, method_id: str) -> tuple[EarlierResult, ...]:
        """See the port."""
        try:
            with reading(self._path) as connection:
                return tuple(earlier_results(connection, sample_id, lot, method_id))
        except StoreError as error:
            raise Refused(f"The history cannot be read: {error}") from error

    def state(self) -> RegisterState:
        """See the port."""
        try:
            with reading(self._path) as connection:
                return read_state(connection)
        except StoreError as error:
            raise Refused(f"The register cannot be read: {error}") from error

    def enter(self, make: Make) -> Future[RegisterEvent]:
        """See the port."""
        return answering(self._writer, lambda connection: append_entry(connection, make))


def answering(writer: Writer, job: Callable[[sqlite3.Connection], T]) -> Future[T]:
    """Run `job` on the writer; what it refuses is an answer and no failure of the store.

    The future fails with Refused or `ResultError` of the job, which must not have written anything before,
    and with Refused when the store cannot be written.
    """
    answer: Future[T] = Future()

    def listened(connection: sqlite3.Connection) -> tuple[T | None, Exception | None]:
        try:
            return job(connection), None
        except (Refused, ResultError) as refusal:
            return None, refusal

    def pass_on(done: Future[tuple[T | None, Exception | None]]) -> None:
        error = done.exception()
        if error is not None:
            failed = isinstance(error, StoreError)
            answer.set_exception(Refused(f"Nothing was kept: {error}") if failed else error)
            return
        result, refusal = done.result()
        if refusal is not None:
            answer.set_exception(refusal)
        else:
            answer.set_result(cast(T, result))

    writer.submit(listened).add_done_callback(pass_on)
    return answer


def enter_alone(connection: sqlite3.Connection, make: Make) -> RegisterEvent:
    """One entry over a connection of its own, when no service owns the store; closes the connection."""
    with closing(connection):
        connection.execute("BEGIN IMMEDIATE")
        try:
            event = append_entry(connection, make)
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        connection.execute("COMMIT")
    return event


def plain_entry(event: RegisterEvent) -> dict[str, Any]:
    """As JSON values."""
    plain: dict[str, Any] = json.loads(entry_text(event))
    return plain
