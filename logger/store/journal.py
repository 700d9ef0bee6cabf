"""The journal of events and readings: handed over without waiting, durable in groups, chained by hash."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from typing import Any

from logger.core.ports import MessageKind
from logger.core.readings import Reading
from logger.core.record import ChainHead, Record, listed_residue_pct
from logger.core.run.commands import Refused
from logger.core.run.events import Event, EventKind
from logger.core.run.plan import canonical_json
from logger.core.run.words import event_level, event_text
from logger.store import archive
from logger.store.batches import append, head, last_ns
from logger.store.errors import StoreError
from logger.store.journal_text import events_text, run_columns, writable
from logger.store.opening import CHECKED_AT_START, damage_note, open_store
from logger.store.outbox_rows import add_message
from logger.store.packing import Packable
from logger.store.pending import KEPT_READINGS, Pending
from logger.store.place import free_bytes
from logger.store.readings_codec import encode
from logger.store.register import answering
from logger.store.schema import check_whole, read_only
from logger.store.trouble import Trouble
from logger.store.writer import Writer, WriterHooks

MakeRevision = Callable[[sqlite3.Connection], tuple[dict[str, Any], list[Event]]]
"""Makes the record's next revision and its events in the transaction that keeps them; may refuse."""
UNPUBLISHED = frozenset({EventKind.ALARM_CLEARED})
"""Kinds that stay at the bench; every other event goes to the plant as well."""
FREE_FLOOR_BYTES = 64 * 1024 * 1024
"""Below this no run starts: a run of a day takes less."""


class Journal(WriterHooks):
    """Owns the writer; implements the RunJournal port. Methods may be called from any thread."""

    def __init__(
        self,
        path: Path,
        utc: Callable[[], str],
        new_id: Callable[[], str],
        on_failure: Callable[[Exception], None],
        *,
        free_floor_bytes: int = FREE_FLOOR_BYTES,
        kept_readings: int = KEPT_READINGS,
    ) -> None:
        """Opens the store (StoreError). `on_failure` hears of every transaction that failed, for the log.

        The callbacks below are called on the writer's thread, `on_lost` on that of `add`.
        """
        self.path, self.utc, self._new_id = path, utc, new_id
        self._on_failure, self._floor = on_failure, free_floor_bytes
        self.on_message: Callable[[], None] = lambda: None
        """Messages for the plant were added."""
        self.on_trouble: Callable[[str | None], None] = lambda text: None
        """The store is in trouble, in a sentence for a person, again at every try; None when it is over."""
        self.on_lost: Callable[[str], None] = lambda text: None
        """Readings of the open run found no room and are lost; called once until the trouble is over."""
        self._pending = Pending(kept_readings)
        self._trouble = Trouble(path, free_floor_bytes)
        self._published = False
        self._owed: dict[str, Callable[[ChainHead], Record]] = {}
        self._aside = ThreadPoolExecutor(1, thread_name_prefix="store-aside")
        opened = open_store(path, utc)
        self.notices: list[str] = opened.notices
        """What a person must hear about the file as it was found."""
        self.writer = Writer(path, opened.connection, self)

    # --- the port ---------------------------------------------------------------------------------------

    def start_run(self, run_id: str, planned: Event) -> Future[int]:
        """Enter a run together with its first event; gives its number, counted from 1 on this bench.

        The future fails with Refused, a sentence for the operator, when the store is not fit for a run.
        """

        def job(connection: sqlite3.Connection) -> int:
            number = _insert_run(connection, run_id, planned.data, planned.utc)
            self._write_batch(connection, run_id, [planned], [])
            return number

        reason = self._trouble.refusal(free_bytes(self.path))
        if reason:
            refused: Future[int] = Future()
            refused.set_exception(Refused(reason))
            return refused
        future = self.writer.submit(job)
        future.add_done_callback(lambda _: self.on_message())
        return _refused_not_failed(future)

    def add(self, run_id: str, events: Sequence[Event], readings: Sequence[Reading] = ()) -> None:
        """Hand over in order of time; durable within 0.25 s."""
        fits = self._pending.add(run_id, events, readings)
        self.writer.schedule()
        if not fits and self._trouble.first_loss():
            self.on_lost("readings could not be kept: the store could not be written for too long")

    def flush(self) -> Future[ChainHead]:
        """Resolves with the chain's head when everything handed over so far is durable."""
        self.writer.schedule()
        return self.writer.submit(head)

    def issue_record(self, run_id: str, build: Callable[[ChainHead], Record]) -> Future[dict[str, Any]]:
        """Build the record with the head of its journal, keep it, queue it for the plant, chain its hash.

        When the store cannot be written the future fails, and the record is made as soon as it can.
        """
        future = self._submit_record(run_id, build)

        def note(done: Future[dict[str, Any]]) -> None:
            if isinstance(done.exception(), StoreError):
                self._owed[run_id] = build

        future.add_done_callback(note)
        return future

    def append_revision(self, run_id: str, make: MakeRevision) -> Future[dict[str, Any]]:
        """The next revision of a run's record with the events that made it: kept, chained and queued for the
        plant in one transaction. The future fails as that of `answering`.
        """

        def job(connection: sqlite3.Connection) -> dict[str, Any]:
            body, events = make(connection)
            _insert_record(connection, body)
            add_message(connection, self._new_id(), "record", run_id, self.utc(), body)
            self._write_batch(connection, run_id, events, [])
            return body

        future = answering(self.writer, job)
        future.add_done_callback(lambda _: self.on_message())
        return future

    def archive(self, run_id: str) -> Future[None]:
        """Pack the batches of a finished run, beside the writer; see `archive`."""
        return self._aside.submit(self._archive, run_id)

    def publish(self, run_id: str, kind: MessageKind, body: dict[str, Any]) -> Future[None]:
        """Queue a message that is no part of the journal (a block of readings)."""

        def job(connection: sqlite3.Connection) -> None:
            add_message(connection, self._new_id(), kind, run_id, self.utc(), body)

        future = self.writer.submit(job)
        future.add_done_callback(lambda _: self.on_message())
        return future

    # --- beyond the port --------------------------------------------------------------------------------

    @property
    def trouble(self) -> str | None:
        """What `on_trouble` would say now."""
        return self._trouble.text

    def check_beside(self) -> threading.Thread | None:
        """Check the pages of a store that was too large for it at the start, without holding up anything.

        Gives the thread, None when there is nothing to do. It only reads: the service may end before it does.
        """
        if self.path.stat().st_size <= CHECKED_AT_START:
            return None
        thread = threading.Thread(target=self._check_pages, name="store-check", daemon=True)
        thread.start()
        return thread

    def close(self) -> None:
        """Commit what is pending and end the threads."""
        self._aside.shutdown(cancel_futures=True)
        self.writer.close()
        left = self._pending.left()
        if left:
            self._on_failure(
                StoreError(f"{self.path}: {left} could not be written before the end and are lost.")
            )

    # --- on the writer's thread -------------------------------------------------------------------------

    def write_pending(self, connection: sqlite3.Connection) -> None:
        """One batch for each run that handed something over."""
        for run_id, work in self._pending.take().items():
            if work.events or work.readings:
                self._write_batch(connection, run_id, work.events, work.readings)
                self._published = self._published or bool(work.events)

    def committed(self) -> None:
        """Forget what is durable; look at the free space."""
        self._pending.drop()
        if self._published:
            self._published = False
            self.on_message()
        if self._trouble.space(free_bytes(self.path)):
            self.on_trouble(self._trouble.text)

    def failed(self, error: Exception) -> None:
        """Tell the log and the screen."""
        self._on_failure(error)
        if isinstance(error, StoreError):
            pending = self._pending
            self._trouble.failed(error, pending.readings, pending.lost, pending.room_min())
            self.on_trouble(self._trouble.text)

    def recovered(self) -> None:
        """Make the records that are owed, and say that all is well."""
        self._trouble.over()
        owed, self._owed = self._owed, {}
        for run_id, build in owed.items():
            self.issue_record(run_id, build)
        self.on_trouble(self._trouble.text)

    # --- inside -----------------------------------------------------------------------------------------

    def _submit_record(self, run_id: str, build: Callable[[ChainHead], Record]) -> Future[dict[str, Any]]:
        def job(connection: sqlite3.Connection) -> dict[str, Any]:
            body = build(head(connection)).body()
            _insert_record(connection, body)
            utc = self.utc()
            add_message(connection, self._new_id(), "record", run_id, utc, body)
            issued = {"revision": body["revision"], "sha256": body["record_sha256"]}
            event = Event(EventKind.RECORD_ISSUED, last_ns(connection, run_id), utc, issued)
            self._write_batch(connection, run_id, [event], [])
            return body

        future = self.writer.submit(job)
        future.add_done_callback(lambda _: self.on_message())
        return future

    def _archive(self, run_id: str) -> None:
        try:
            with closing(read_only(self.path)) as connection:
                stretches = archive.pack_run(connection, run_id)
        except (sqlite3.Error, ValueError, OverflowError) as error:
            # It stays as it is, which costs room and nothing else.
            self._on_failure(error)
            return
        job = self.writer.submit(
            lambda connection: archive.store_stretches(connection, run_id, stretches), after_pending=False
        )
        job.result()

    def _check_pages(self) -> None:
        try:
            with closing(read_only(self.path)) as connection:
                found = check_whole(connection)
        except sqlite3.Error as error:
            self._on_failure(error)
            return
        if found:
            damage_note(self.path).write_text(found, encoding="utf-8")
            self._trouble.damaged(found)
            self.on_trouble(self._trouble.text)

    def _write_batch(
        self,
        connection: sqlite3.Connection,
        run_id: str,
        events: Sequence[Event],
        readings: Sequence[Reading],
    ) -> None:
        events = [writable(event) for event in events]
        utc = self.utc()
        at_ns = max([e.at_ns for e in events] + [r.at_ns for r in readings])
        append(connection, run_id, Packable(at_ns, utc, events_text(events), encode(readings)))
        for event in events:
            if event.kind not in UNPUBLISHED:
                add_message(connection, self._new_id(), "event", run_id, utc, _event_body(run_id, event))


def _refused_not_failed(future: Future[int]) -> Future[int]:
    """The same future with a failed store as a refusal."""
    answer: Future[int] = Future()

    def pass_on(done: Future[int]) -> None:
        if not answer.set_running_or_notify_cancel():
            return
        error = done.exception()
        if isinstance(error, StoreError):
            answer.set_exception(Refused(f"No run can start: {error}"))
        elif error is not None:
            answer.set_exception(error)
        else:
            answer.set_result(done.result())

    future.add_done_callback(pass_on)
    return answer


def _insert_run(connection: sqlite3.Connection, run_id: str, plan: dict[str, Any], started_at: str) -> int:
    number = int(connection.execute("SELECT coalesce(max(number), 0) + 1 FROM run").fetchone()[0])
    connection.execute(
        "INSERT INTO run VALUES (?, ?, ?, ?, ?, ?, ?, ?, 0)", (run_id, number, *run_columns(plan), started_at)
    )
    return number


def _insert_record(connection: sqlite3.Connection, body: dict[str, Any]) -> None:
    connection.execute(
        "INSERT INTO record VALUES (?, ?, ?, ?, ?)",
        (body["run_id"], body["revision"], body["outcome"], listed_residue_pct(body), canonical_json(body)),
    )


def _event_body(run_id: str, event: Event) -> dict[str, Any]:
    return {
        "run_id": run_id,
        "kind": event.kind.value,
        "utc": event.utc,
        "level": event_level(event),
        "text": _text(event),
        "data": event.data,
    }


def _text(event: Event) -> str:
    """The event's sentence; its kind where the data do not fit one, so that no event stops the journal."""
    try:
        return event_text(event.kind, event.data)
    except (KeyError, ValueError, TypeError, IndexError):
        return event.kind.value
