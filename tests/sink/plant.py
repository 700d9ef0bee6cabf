"""Messages of invented benches, as they come from the broker, and looks into the sink's tables."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from logger.core.ports import MessageKind
from logger.publish.payloads import numbered_message, plain_message
from logger.publish.topics import Topics
from logger.sink.batch import Arrival
from logger.sink.database import Database
from logger.sink.report import BenchReport, read_report
from tests.publish.samples import EVENT, MADE, READINGS, SENT, STATUS, item, record

RUN_LENGTH = 5
KINDS: tuple[MessageKind, ...] = ("event", "readings", "event", "readings", "record")


def run_of(seq: int) -> str:
    """Every five numbers are one run: two events, two blocks of readings and the record."""
    return f"run-{(seq - 1) // RUN_LENGTH + 1}"


def body_of(kind: MessageKind, seq: int) -> dict[str, Any]:
    bodies: dict[str, dict[str, Any]] = {"event": EVENT, "readings": READINGS, "record": record().body()}
    extra = {} if kind != "record" else {"record_sha256": f"{seq:064x}"}
    return bodies[kind] | {"run_id": run_of(seq)} | extra


def arrival(seq: int, bench: str = "a1", site: str = "lab", **changed: Any) -> Arrival:
    """The message with this number."""
    kind = KINDS[(seq - 1) % RUN_LENGTH]
    topics = Topics(site, bench)
    body = body_of(kind, seq) | ({"site": site, "bench": bench} if kind == "record" else {})
    made = item(kind, body | changed, seq=seq)
    return Arrival(topics.of(kind), numbered_message(topics, made, SENT))


def status(bench: str = "a1", at: str = MADE, **changed: Any) -> Arrival:
    topics = Topics("lab", bench)
    return Arrival(topics.of("status"), plain_message(topics, "status", STATUS | changed, at))


def bench_report(database: Database, bench: str = "a1") -> BenchReport:
    report = database.transaction(read_report)
    return next(found for found in report.benches if found.bench == bench)


def select(path: Path, sql: str) -> Sequence[tuple[Any, ...]]:
    """Read by plain sqlite3, as any other tool would."""
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute(sql).fetchall()
