"""Messages into tables: each numbered message once, in one transaction with the count of its bench."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from logger.sink.database import Cursor, Database, DatabaseAway, DatabaseRefuses
from logger.sink.deliveries import Delivery, Fault, Unfit, read_delivery
from logger.sink.ranges import Count, Range

LONGEST_REASON = 500


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


class Keeper:
    """Keeps batches. `utc` is asked for the time of arrival."""

    def __init__(self, database: Database, utc: Callable[[], str]) -> None:
        self._database, self._utc = database, utc

    def prepare(self) -> None:
        """Makes the tables where there are none. Raises DatabaseAway, WrongDatabase."""
        self._database.transaction(lambda cursor: None)

    def keep(self, arrivals: Sequence[Arrival]) -> None:
        """Returns when everything is durable. Raises DatabaseAway: then nothing is, and all may come again.

        When the database refuses the batch, each message is tried alone, and one that it still refuses is
        set aside.
        """
        try:
            self._database.transaction(lambda cursor: self._batch(cursor, arrivals).write())
        except DatabaseRefuses as error:
            if len(arrivals) > 1:
                for arrival in arrivals:
                    self.keep([arrival])
            else:
                self._set_aside_alone(arrivals[0], str(error))

    def _batch(self, cursor: Cursor, arrivals: Sequence[Arrival]) -> _Batch:
        batch = _Batch(cursor, self._database.lock, self._utc())
        good: list[tuple[Arrival, Delivery]] = []
        for arrival in arrivals:
            try:
                good.append((arrival, read_delivery(arrival.topic, arrival.payload)))
            except Unfit as unfit:
                batch.set_aside(arrival, unfit.fault, str(unfit))
        batch.load({(found.site, found.bench) for _, found in good})
        for arrival, found in good:
            batch.take(arrival, found)
        return batch

    def _set_aside_alone(self, arrival: Arrival, reason: str) -> None:
        """Where even this is refused, the fault lies with the database, and the message stays unacknowledged."""
        utc = self._utc()
        try:
            self._database.transaction(
                lambda cursor: _Batch(cursor, "", utc).set_aside(arrival, "not-storable", reason)
            )
        except DatabaseRefuses as error:
            raise DatabaseAway(f"it refuses everything: {error}") from error


@dataclass(slots=True)
class _Batch:
    """One transaction at work."""

    cursor: Cursor
    lock: str
    utc: str
    benches: dict[tuple[str, str], _Standing] = field(default_factory=dict)

    def load(self, names: set[tuple[str, str]]) -> None:
        """In a fixed order, so that two sinks never wait for each other."""
        for name in sorted(names):
            self.cursor.run("INSERT INTO bench (site, bench) VALUES (?, ?) ON CONFLICT DO NOTHING", name)
            (row,) = self.cursor.rows(
                f"SELECT last_seq FROM bench WHERE site = ? AND bench = ?{self.lock}", name
            )
            gaps = self.cursor.rows(
                "SELECT first_seq, last_seq FROM gap WHERE site = ? AND bench = ? ORDER BY first_seq", name
            )
            missing = [(int(first), int(last)) for first, last in gaps]
            self.benches[name] = _Standing(Count(int(row[0]), list(missing)), missing)

    def take(self, arrival: Arrival, found: Delivery) -> None:
        """Into the tables, unless it is there."""
        if found.kind == "status":
            self._status(found)
            return
        standing = self.benches[found.site, found.bench]
        if standing.count.has(found.seq):
            self._again(arrival, found, standing)
            return
        standing.out_of_order += standing.count.add(found.seq)
        self._ledger(found)
        if found.kind == "record":
            self._record(arrival, found)
        elif found.kind == "event":
            self._event(found)
        else:
            self._readings(found)

    def _again(self, arrival: Arrival, found: Delivery, standing: _Standing) -> None:
        kept = self.cursor.rows(
            "SELECT message_id FROM message WHERE site = ? AND bench = ? AND seq = ?",
            (found.site, found.bench, found.seq),
        )
        if kept == [(found.fields["message_id"],)]:
            standing.duplicates += 1
            return
        self.set_aside(
            arrival,
            "conflict",
            f"seq {found.seq} of {found.site}/{found.bench} is known under another message_id: two benches use "
            "one name, or one was set back to an older copy of its store",
        )

    def _ledger(self, found: Delivery) -> None:
        names = ("message_id", "run_id", "created_at", "published_at", "historical")
        values = tuple(found.fields.get(name) for name in names)
        self.cursor.run(
            "INSERT INTO message (site, bench, seq, kind, received_at, message_id, run_id, created_at, "
            "published_at, historical) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (found.site, found.bench, found.seq, found.kind, self.utc, *values),
        )

    def _record(self, arrival: Arrival, found: Delivery) -> None:
        columns = ("site", "bench", "seq", *found.flat, "body")
        marks = ", ".join("?" * len(columns))
        values = (found.site, found.bench, found.seq, *found.flat.values(), found.text)
        if self.cursor.run(
            f"INSERT INTO record ({', '.join(columns)}) VALUES ({marks}) ON CONFLICT DO NOTHING", values
        ):
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
        values = (
            body.get("run_id"),
            body["kind"],
            body["utc"],
            body.get("level", "info"),
            body.get("text", ""),
        )
        self.cursor.run(
            "INSERT INTO event (site, bench, seq, run_id, kind, utc, level, text, body) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (found.site, found.bench, found.seq, *values, found.text),
        )

    def _readings(self, found: Delivery) -> None:
        body = found.fields
        columns = zip(body["t_s"], body["mass_g"], body["dp_pa"], body["stable"], strict=True)
        self.cursor.run_many(
            "INSERT INTO reading (site, bench, seq, place, run_id, t_s, mass_g, dp_pa, stable) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                (found.site, found.bench, found.seq, place, body["run_id"], *row)
                for place, row in enumerate(columns)
            ],
        )

    def _status(self, found: Delivery) -> None:
        """The newest counts; a will is dated when its connection began, so its numbers may be older."""
        names = ("state", "cause", "since", "waiting", "set_aside", "insecure", "published_at", "last_seq")
        body = found.fields
        values = tuple(body[name] for name in names)
        self.cursor.run(
            "UPDATE bench SET state = ?, cause = ?, since = ?, waiting = ?, set_aside_there = ?, insecure = ?, "
            "status_at = ?, said_seq = CASE WHEN said_seq < ? THEN ? ELSE said_seq END "
            "WHERE site = ? AND bench = ? AND (status_at IS NULL OR status_at <= ? OR ? = 'link-lost')",
            (*values, body["last_seq"], found.site, found.bench, body["published_at"], body["cause"]),
        )

    def set_aside(self, arrival: Arrival, fault: Fault, reason: str) -> None:
        """Kept whole beside the tables, once however often it comes."""
        name = hashlib.sha256(arrival.topic.encode() + b"\n" + arrival.payload).hexdigest()
        reason = reason.replace("\0", "").encode("utf-8", "replace").decode()[:LONGEST_REASON]
        topic = arrival.topic.replace("\0", "")
        self.cursor.run(
            "INSERT INTO set_aside (id, received_at, topic, fault, reason, payload) VALUES (?, ?, ?, ?, ?, ?) "
            "ON CONFLICT DO NOTHING",
            (name, self.utc, topic, fault, reason, arrival.payload),
        )

    def write(self) -> None:
        """Where the benches stand now."""
        for (site, bench), standing in self.benches.items():
            self.cursor.run(
                "UPDATE bench SET last_seq = ?, duplicates = duplicates + ?, out_of_order = out_of_order + ? "
                "WHERE site = ? AND bench = ?",
                (standing.count.last_seq, standing.duplicates, standing.out_of_order, site, bench),
            )
            before, now = set(standing.missing_before), set(standing.count.missing)
            for first, _ in before - now:
                self.cursor.run(
                    "DELETE FROM gap WHERE site = ? AND bench = ? AND first_seq = ?", (site, bench, first)
                )
            self.cursor.run_many(
                "INSERT INTO gap (site, bench, first_seq, last_seq) VALUES (?, ?, ?, ?)",
                [(site, bench, first, last) for first, last in sorted(now - before)],
            )
