"""One transaction of the sink: what stands already, what is new, and the rows that come of it.

Whole batches go to the database together, since a server takes hundreds of rows in the time of one answer.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from logger.sink.database import Cursor
from logger.sink.deliveries import Delivery, Fault
from logger.sink.ranges import Count, Range
from logger.sink.tables import RECORD_COLUMNS

LONGEST_REASON = 500
_MOST_NAMES = 400
"""Benches in one question: SQLite takes 999 values where it is old."""
Name = tuple[str, str]
"""Site and bench."""

_LEDGER = (
    "INSERT INTO message (site, bench, seq, kind, received_at, message_id, run_id, created_at, published_at, "
    "historical) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_EVENT = "INSERT INTO event (site, bench, seq, run_id, kind, utc, level, text, body) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_READING = (
    "INSERT INTO reading (site, bench, seq, place, run_id, t_s, mass_g, dp_pa, stable) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_RECORD = (
    f"INSERT INTO record (site, bench, seq, {', '.join(RECORD_COLUMNS)}, body) "
    f"VALUES (?, ?, ?, {', '.join('?' * len(RECORD_COLUMNS))}, ?) ON CONFLICT DO NOTHING"
)
_STATUS = (
    "UPDATE bench SET state = ?, cause = ?, since = ?, waiting = ?, set_aside_there = ?, insecure = ?, "
    "status_at = ?, said_seq = CASE WHEN said_seq < ? THEN ? ELSE said_seq END "
    "WHERE site = ? AND bench = ? AND (status_at IS NULL OR status_at <= ? OR ? = 'link-lost')"
)
_STATUS_FIELDS = ("state", "cause", "since", "waiting", "set_aside", "insecure", "published_at", "last_seq")
_STANDING = (
    "UPDATE bench SET last_seq = ?, duplicates = duplicates + ?, out_of_order = out_of_order + ? "
    "WHERE site = ? AND bench = ?"
)
_SET_ASIDE = (
    "INSERT INTO set_aside (id, received_at, topic, fault, reason, payload) VALUES (?, ?, ?, ?, ?, ?) "
    "ON CONFLICT DO NOTHING"
)
_GONE_GAP = "DELETE FROM gap WHERE site = ? AND bench = ? AND first_seq = ?"
_NEW_GAP = "INSERT INTO gap (site, bench, first_seq, last_seq) VALUES (?, ?, ?, ?)"
_ORDER = (_LEDGER, _EVENT, _READING, _STATUS, _STANDING, _GONE_GAP, _NEW_GAP, _SET_ASIDE)


@dataclass(frozen=True, slots=True)
class Arrival:
    """What the broker handed over."""

    topic: str
    payload: bytes


@dataclass(slots=True)
class _Standing:
    """Where a bench stands, as read from the tables and changed in this transaction."""

    count: Count
    missing_before: list[Range]
    duplicates: int = 0
    out_of_order: int = 0
    new_ids: dict[int, str] = field(default_factory=dict)
    """Messages of this batch: their ids by seq."""

    @property
    def changed(self) -> bool:
        """Something numbered came."""
        return bool(self.new_ids or self.duplicates)


@dataclass(slots=True)
class Batch:
    """Load the benches, take the messages, write: in this order, in one transaction."""

    cursor: Cursor
    lock: str
    utc: str
    _benches: dict[Name, _Standing] = field(default_factory=dict)
    _rows: defaultdict[str, list[tuple[Any, ...]]] = field(default_factory=lambda: defaultdict(list))

    def load(self, names: set[Name]) -> None:
        """In a fixed order, so that two sinks never wait for each other."""
        ordered = sorted(names)
        for first in range(0, len(ordered), _MOST_NAMES):
            part = ordered[first : first + _MOST_NAMES]
            found = dict(self._last_seqs(part))
            if len(found) < len(part):
                new = [name for name in part if name not in found]
                self.cursor.run_many(
                    "INSERT INTO bench (site, bench) VALUES (?, ?) ON CONFLICT DO NOTHING", new
                )
                found = dict(self._last_seqs(part))
            gaps = self._gaps(part)
            for name, last_seq in found.items():
                missing = gaps[name]
                self._benches[name] = _Standing(Count(last_seq, list(missing)), missing)

    def _last_seqs(self, names: Sequence[Name]) -> Iterator[tuple[Name, int]]:
        sql = f"SELECT site, bench, last_seq FROM bench WHERE {_among(names)} ORDER BY site, bench{self.lock}"
        for site, bench, last_seq in self.cursor.rows(sql, tuple(chain(*names))):
            yield (site, bench), int(last_seq)

    def _gaps(self, names: Sequence[Name]) -> defaultdict[Name, list[Range]]:
        found: defaultdict[Name, list[Range]] = defaultdict(list)
        sql = f"SELECT site, bench, first_seq, last_seq FROM gap WHERE {_among(names)} ORDER BY first_seq"
        for site, bench, first, last in self.cursor.rows(sql, tuple(chain(*names))):
            found[site, bench].append((int(first), int(last)))
        return found

    def take(self, arrival: Arrival, found: Delivery) -> None:
        """Into the rows to be written, unless it is there."""
        if found.kind == "status":
            self._status(found)
            return
        standing = self._benches[found.site, found.bench]
        if standing.count.has(found.seq):
            self._again(arrival, found, standing)
            return
        standing.out_of_order += standing.count.add(found.seq)
        standing.new_ids[found.seq] = found.fields["message_id"]
        self._ledger(found)
        if found.kind == "record":
            self._record(arrival, found)
        elif found.kind == "event":
            self._event(found)
        else:
            self._readings(found)

    def _again(self, arrival: Arrival, found: Delivery, standing: _Standing) -> None:
        # Nothing is known of a number whose row its owner has deleted since.
        if self._known_id(found, standing) in (found.fields["message_id"], None):
            standing.duplicates += 1
            return
        self.set_aside(
            arrival,
            "conflict",
            f"seq {found.seq} of {found.site}/{found.bench} is known under another message_id: two benches use "
            "one name, or one was set back to an older copy of its store",
        )

    def _known_id(self, found: Delivery, standing: _Standing) -> str | None:
        if found.seq in standing.new_ids:
            return standing.new_ids[found.seq]
        kept = self.cursor.rows(
            "SELECT message_id FROM message WHERE site = ? AND bench = ? AND seq = ?",
            (found.site, found.bench, found.seq),
        )
        return str(kept[0][0]) if kept else None

    def _ledger(self, found: Delivery) -> None:
        names = ("message_id", "run_id", "created_at", "published_at", "historical")
        values = tuple(found.fields.get(name) for name in names)
        self._rows[_LEDGER].append((found.site, found.bench, found.seq, found.kind, self.utc, *values))

    def _record(self, arrival: Arrival, found: Delivery) -> None:
        values = tuple(found.flat.get(name) for name in RECORD_COLUMNS)
        if self.cursor.run(_RECORD, (found.site, found.bench, found.seq, *values, found.text)):
            return
        kept = self.cursor.rows(
            "SELECT record_sha256 FROM record WHERE site = ? AND bench = ? AND run_id = ? AND revision = ?",
            (found.site, found.bench, found.flat["run_id"], found.flat["revision"]),
        )
        if kept != [(found.flat["record_sha256"],)]:
            self.set_aside(
                arrival,
                "conflict",
                f"revision {found.flat['revision']} of run {found.flat['run_id']} is kept already with another "
                "content",
            )

    def _event(self, found: Delivery) -> None:
        body = found.fields
        said = (body.get("level", "info"), body.get("text", ""))
        values = (body.get("run_id"), body["kind"], body["utc"], *said, found.text)
        self._rows[_EVENT].append((found.site, found.bench, found.seq, *values))

    def _readings(self, found: Delivery) -> None:
        body = found.fields
        columns = zip(body["t_s"], body["mass_g"], body["dp_pa"], body["stable"], strict=True)
        self._rows[_READING] += [
            (found.site, found.bench, found.seq, place, body["run_id"], *row)
            for place, row in enumerate(columns)
        ]

    def _status(self, found: Delivery) -> None:
        """The newest counts; a will is dated when its connection began, so its numbers may be older."""
        body = found.fields
        values = tuple(body[name] for name in _STATUS_FIELDS)
        place = (found.site, found.bench)
        self._rows[_STATUS].append((*values, body["last_seq"], *place, body["published_at"], body["cause"]))

    def set_aside(self, arrival: Arrival, fault: Fault, reason: str) -> None:
        """Kept whole beside the tables, once however often it comes."""
        name = hashlib.sha256(arrival.topic.encode() + b"\n" + arrival.payload).hexdigest()
        reason = reason.replace("\0", "").encode("utf-8", "replace").decode()[:LONGEST_REASON]
        topic = arrival.topic.replace("\0", "")
        self._rows[_SET_ASIDE].append((name, self.utc, topic, fault, reason, arrival.payload))

    def write(self) -> None:
        """All rows, and where the benches stand now."""
        for (site, bench), standing in self._benches.items():
            if not standing.changed:
                continue
            counts = (standing.count.last_seq, standing.duplicates, standing.out_of_order)
            self._rows[_STANDING].append((*counts, site, bench))
            before, now = set(standing.missing_before), set(standing.count.missing)
            self._rows[_GONE_GAP] += [(site, bench, first) for first, _ in before - now]
            self._rows[_NEW_GAP] += [(site, bench, first, last) for first, last in sorted(now - before)]
        for sql in _ORDER:
            if self._rows[sql]:
                self.cursor.run_many(sql, self._rows[sql])


def _among(names: Sequence[Name]) -> str:
    return f"(site, bench) IN (VALUES {', '.join(['(?, ?)'] * len(names))})"
