"""The journal of events and readings: handed over without waiting, durable in groups, chained by hash."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from logger.core.readings import Reading
from logger.core.record import ChainHead, Record
from logger.core.run.events import Event, EventKind
from logger.core.run.plan import canonical_json
from logger.core.run.words import event_level, event_text
from logger.store.archive import archive_readings
from logger.store.chain import GENESIS, batch_hash, sha256_hex
from logger.store.outbox_rows import add_message
from logger.store.readings_codec import encode
from logger.store.writer import Writer

UNPUBLISHED = frozenset({EventKind.ALARM_CLEARED})
"""Kinds that stay at the bench; every other event goes to the plant as well."""


@dataclass(slots=True)
class _Pending:
    """What one run has handed over since the last commit."""

    events: list[Event] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)


class Journal:
    """Owns the writer. Methods may be called from any thread; one run at a time is usual, several work."""

    def __init__(
        self,
        path: Path,
        utc: Callable[[], str],
        new_id: Callable[[], str],
        on_failure: Callable[[Exception], None],
    ) -> None:
        """Opens the store (StoreError). `on_failure` is called on the writer's thread."""
        self.utc, self._new_id = utc, new_id
        self.on_message: Callable[[], None] = lambda: None
        """Called on the writer's thread when messages for the plant were added."""
        self._lock = threading.Lock()
        self._pending: dict[str, _Pending] = {}
        self._in_flight: dict[str, tuple[int, int]] = {}
        self.writer = Writer(path, self._write_pending, self._drop_written, on_failure)

    def start_run(self, run_id: str, planned: Event) -> Future[int]:
        """Enter a run together with its first event; gives its number, counted from 1 on this bench."""

        def job(connection: sqlite3.Connection) -> int:
            number = _insert_run(connection, run_id, planned.data, planned.utc)
            self._write_batch(connection, run_id, [planned], [])
            return number

        return self.writer.submit(job)

    def add(self, run_id: str, events: Sequence[Event], readings: Sequence[Reading] = ()) -> None:
        """Hand over in order of time; durable within 0.25 s."""
        with self._lock:
            pending = self._pending.setdefault(run_id, _Pending())
            pending.events.extend(events)
            pending.readings.extend(readings)
        self.writer.schedule()

    def flush(self) -> Future[ChainHead]:
        """Resolves with the chain's head when everything handed over so far is durable."""
        self.writer.schedule()
        return self.writer.submit(head)

    def issue_record(self, run_id: str, build: Callable[[ChainHead], Record]) -> Future[dict[str, Any]]:
        """Build the record with the head of its journal, keep it, queue it for the plant, chain its hash."""

        def job(connection: sqlite3.Connection) -> dict[str, Any]:
            body = build(head(connection)).body()
            _insert_record(connection, body)
            utc = self.utc()
            add_message(connection, self._new_id(), "record", run_id, utc, body)
            issued = {"revision": body["revision"], "sha256": body["record_sha256"]}
            event = Event(EventKind.RECORD_ISSUED, _last_ns(connection, run_id), utc, issued)
            self._write_batch(connection, run_id, [event], [])
            return body

        future = self.writer.submit(job)
        future.add_done_callback(lambda _: self.on_message())
        return future

    def archive(self, run_id: str) -> Future[None]:
        """Pack the readings of a finished run; each batch keeps its hash, so that verify can unpack them."""
        return self.writer.submit(lambda connection: archive_readings(connection, run_id))

    def close(self) -> None:
        """Commit what is pending and end the writer."""
        self.writer.close()

    def _write_pending(self, connection: sqlite3.Connection) -> None:
        with self._lock:
            work = {run_id: (list(p.events), list(p.readings)) for run_id, p in self._pending.items()}
        self._in_flight = {run_id: (len(events), len(rows)) for run_id, (events, rows) in work.items()}
        for run_id, (events, readings) in work.items():
            if events or readings:
                self._write_batch(connection, run_id, events, readings)

    def _drop_written(self) -> None:
        """The commit is durable: forget what it covered."""
        published = False
        with self._lock:
            for run_id, (events, readings) in self._in_flight.items():
                pending = self._pending[run_id]
                del pending.events[:events], pending.readings[:readings]
                published = published or events > 0
                if not pending.events and not pending.readings:
                    del self._pending[run_id]
        self._in_flight = {}
        if published:
            self.on_message()

    def _write_batch(
        self,
        connection: sqlite3.Connection,
        run_id: str,
        events: Sequence[Event],
        readings: Sequence[Reading],
    ) -> None:
        before = head(connection)
        seq = before.batch + 1
        utc = self.utc()
        at_ns = max([e.at_ns for e in events] + [r.at_ns for r in readings])
        text, blob = events_text(events), encode(readings)
        readings_sha256 = sha256_hex(blob)
        row_hash = batch_hash(before.sha256, seq, run_id, at_ns, utc, text, readings_sha256)
        connection.execute(
            "INSERT INTO batch VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (seq, run_id, at_ns, utc, text, blob, readings_sha256, len(readings), row_hash),
        )
        for event in events:
            if event.kind not in UNPUBLISHED:
                body = _event_body(run_id, event)
                add_message(connection, self._new_id(), "event", run_id, utc, body)


def events_text(events: Iterable[Event]) -> str:
    """The canonical text of a batch's events; it has no line feed."""
    plain = [{"kind": e.kind.value, "at_ns": e.at_ns, "utc": e.utc, "data": e.data} for e in events]
    return canonical_json(plain)


def events_of(text: str) -> list[Event]:
    """Back from the canonical text."""
    return [Event(EventKind(e["kind"]), e["at_ns"], e["utc"], e["data"]) for e in json.loads(text)]


def head(connection: sqlite3.Connection) -> ChainHead:
    """The newest batch, or the genesis of an empty journal as batch 0."""
    row = connection.execute("SELECT seq, hash FROM batch ORDER BY seq DESC LIMIT 1").fetchone()
    return ChainHead(0, GENESIS) if row is None else ChainHead(*row)


def _last_ns(connection: sqlite3.Connection, run_id: str) -> int:
    row = connection.execute("SELECT max(at_ns) FROM batch WHERE run_id = ?", (run_id,)).fetchone()
    return int(row[0] or 0)


def _insert_run(connection: sqlite3.Connection, run_id: str, plan: dict[str, Any], started_at: str) -> int:
    number = int(connection.execute("SELECT coalesce(max(number), 0) + 1 FROM run").fetchone()[0])
    sample, method = plan["sample"], plan["method"]["method"]
    connection.execute(
        "INSERT INTO run VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (
            run_id,
            number,
            sample["sample_id"],
            sample["operator_id"],
            sample["lot"],
            method["id"],
            method["revision"],
            started_at,
            head(connection).batch + 1,
        ),
    )
    return number


def _insert_record(connection: sqlite3.Connection, body: dict[str, Any]) -> None:
    residue_pct = body["result"]["residue_pct"] if body["result"] else None
    connection.execute(
        "INSERT INTO record VALUES (?, ?, ?, ?, ?)",
        (body["run_id"], body["revision"], body["outcome"], residue_pct, canonical_json(body)),
    )


def _event_body(run_id: str, event: Event) -> dict[str, Any]:
    return {
        "run_id": run_id,
        "kind": event.kind.value,
        "utc": event.utc,
        "level": event_level(event),
        "text": event_text(event.kind, event.data),
        "data": event.data,
    }
