"""Reviews in the store: a record as it stands, and the revision that follows, in one transaction or not at all."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from typing import Any

from logger.core.register.events import RegisterEvent
from logger.core.register.state import RegisterState
from logger.core.review_steps import SendAgain, Standing, Step, next_body
from logger.core.run.commands import Refused
from logger.core.run.events import Event, EventKind
from logger.core.run.facts import fold
from logger.core.run.states import RunState
from logger.store.batches import head
from logger.store.errors import StoreError
from logger.store.history import find_run, reading, run_events
from logger.store.journal import Journal
from logger.store.outbox_rows import send_again
from logger.store.register import answering, append_entry

MOST_AT_ONCE = 5000
"""Runs, or messages by number, that are sent again at one wish: more is a slip of the finger."""


class StoreReviews:
    """Implements the Reviews port over an open journal."""

    def __init__(self, journal: Journal) -> None:
        self._journal, self._path = journal, journal.path

    def look(self, which: str) -> Standing:
        """See the port. The journal is unpacked here, beside the writer."""
        with _asked(), reading(self._path) as connection:
            return _standing(connection, which)

    def append(self, seen: Standing, step: Step) -> Future[dict[str, Any]]:
        """See the port."""

        def make(connection: sqlite3.Connection) -> tuple[dict[str, Any], list[Event]]:
            _require_unchanged(connection, seen)
            body = next_body(seen.body, step, head(connection), len(seen.events))
            return body, _events(seen, step, body, self._journal.utc())

        return self._journal.append_revision(seen.run_id, make)

    def send_again(
        self, wanted: SendAgain, make: Callable[[RegisterState, str, int], RegisterEvent]
    ) -> Future[RegisterEvent]:
        """See the port."""

        def job(connection: sqlite3.Connection) -> RegisterEvent:
            # Counted first: a refusal must come before anything is written.
            what, where, values = _wanted(wanted)
            count = connection.execute(
                f"SELECT count(*) FROM outbox WHERE run_id <> '' AND {where}", values
            ).fetchone()[0]
            event = append_entry(connection, lambda state: make(state, what, int(count)))
            send_again(connection, where, *values)
            return event

        future = answering(self._journal.writer, job)
        future.add_done_callback(lambda _: self._journal.on_message())
        return future


def _wanted(wanted: SendAgain) -> tuple[str, str, tuple[int, int]]:
    first, last = wanted.first, wanted.last
    if not 0 < first <= last or last - first >= MOST_AT_ONCE:
        raise Refused(f"Name at most {MOST_AT_ONCE} from the first to the last, not {first} to {last}.")
    if wanted.by_seq:
        return f"numbers {first} to {last}", "seq BETWEEN ? AND ?", (first, last)
    what = f"run {first}" if first == last else f"runs {first} to {last}"
    return what, "run_id IN (SELECT run_id FROM run WHERE number BETWEEN ? AND ?)", (first, last)


def _standing(connection: sqlite3.Connection, which: str) -> Standing:
    row = find_run(connection, which)
    newest = connection.execute(
        "SELECT body FROM record WHERE run_id = ? ORDER BY revision DESC LIMIT 1", (row.run_id,)
    ).fetchone()
    if newest is None:
        raise Refused(f"Run {row.number} has no record yet: it is still open.")
    try:
        body = json.loads(newest[0])
    except ValueError as error:
        raise Refused(
            f"The record of run {row.number} is damaged ({error}): look for the run in a backup."
        ) from None
    return Standing(
        number=row.number,
        run_id=row.run_id,
        body=body,
        events=tuple(run_events(connection, row.run_id)),
        last_batch=_last_batch(connection, row.run_id),
    )


def _last_batch(connection: sqlite3.Connection, run_id: str) -> int:
    found = connection.execute(
        "SELECT max(coalesce((SELECT max(seq) FROM batch WHERE run_id = ?1), 0), "
        "coalesce((SELECT max(last_seq) FROM stretch WHERE run_id = ?1), 0))",
        (run_id,),
    ).fetchone()
    return int(found[0])


def _require_unchanged(connection: sqlite3.Connection, seen: Standing) -> None:
    newest = connection.execute(
        "SELECT max(revision) FROM record WHERE run_id = ?", (seen.run_id,)
    ).fetchone()[0]
    if newest != seen.body["revision"] or _last_batch(connection, seen.run_id) != seen.last_batch:
        raise Refused(
            f"Run {seen.number} has changed meanwhile: look at it again, then repeat what you wanted."
        )


def _events(seen: Standing, step: Step, body: dict[str, Any], utc: str) -> list[Event]:
    """What happened, that the run is closed by it, and that the revision was issued. The bench's clock of the
    run stands where the run left it."""
    at_ns = seen.events[-1].at_ns
    events = [Event(step.kind, at_ns, utc, step.data)]
    if step.closes and fold(seen.events).state is RunState.AWAITING_REVIEW:
        events.append(Event(EventKind.CLOSED, at_ns, utc, {"by": step.data["name"]}))
    issued = {"revision": body["revision"], "sha256": body["record_sha256"]}
    return [*events, Event(EventKind.RECORD_ISSUED, at_ns, utc, issued)]


@contextmanager
def _asked() -> Iterator[None]:
    try:
        yield
    except StoreError as error:
        raise Refused(str(error)) from error
