"""What the sink's tables take: `python -m tests.benchmarks.sink_rate [MESSAGES]`, SQLite and PostgreSQL.

No broker: messages of 1,000 invented benches go straight into the keeper, in batches as they come from a broker that
sends so many ahead. Each figure stands beside that of a bare INSERT of the same bytes at the same durability.
"""

from __future__ import annotations

import contextlib
import json
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from logger.app.clock import utc_now
from logger.publish.payloads import numbered_message, plain_message
from logger.publish.topics import Topics
from logger.sink.batch import Arrival
from logger.sink.database import Cursor, Database, PostgresDatabase, SqliteDatabase
from logger.sink.keeping import Keeper
from tests.benchmarks.fleet_parts import template
from tests.publish.samples import MADE, SENT, STATUS, item
from tests.sink.postgres import Postgres

BENCHES = 1000
BATCHES = (1, 20, 500)


def numbered(count: int) -> list[Arrival]:
    """Events and records of runs, all benches in turn."""
    events, record = template()
    bodies = [("event", event) for event in events] + [("record", record)]
    made = []
    for place in range(count):
        number, turn = place % BENCHES, place // BENCHES
        topics = Topics("fleet", f"b{number}")
        kind, body = bodies[(turn + number) % len(bodies)]
        changed = body | {"run_id": f"{number}-{turn // len(bodies)}-{turn % len(bodies)}"}
        if kind == "record":
            changed |= {"site": "fleet", "bench": f"b{number}", "record_sha256": f"{place:064x}"}
        message = item("record" if kind == "record" else "event", changed, seq=turn + 1)
        made.append(Arrival(topics.of(message.kind), numbered_message(topics, message, SENT)))
    return made


def statuses(count: int) -> list[Arrival]:
    """The beat of benches that have nothing else to say."""
    made = []
    for place in range(count):
        topics = Topics("fleet", f"b{place % BENCHES}")
        made.append(Arrival(topics.of("status"), plain_message(topics, "status", STATUS, MADE)))
    return made


def rate(database: Database, arrivals: Sequence[Arrival], batch: int) -> float:
    """Messages a second through the keeper."""
    keeper = Keeper(database, utc_now)
    keeper.prepare()
    begun = time.perf_counter()
    for first in range(0, len(arrivals), batch):
        keeper.keep(arrivals[first : first + batch])
    return len(arrivals) / (time.perf_counter() - begun)


def bare_rate(database: Database, arrivals: Sequence[Arrival], batch: int) -> float:
    """The same bytes into one table with the same key, nothing looked at."""
    blob = "BYTEA" if isinstance(database, PostgresDatabase) else "BLOB"
    database.transaction(
        lambda cursor: cursor.run(
            f"CREATE TABLE bare (topic TEXT, number BIGINT, body {blob}, PRIMARY KEY (number))"
        )
    )
    begun = time.perf_counter()
    for first in range(0, len(arrivals), batch):
        part = arrivals[first : first + batch]

        rows = [(arrival.topic, place, arrival.payload) for place, arrival in enumerate(part, first)]

        def write(cursor: Cursor, rows: Sequence[tuple[str, int, bytes]] = rows) -> None:
            cursor.run_many("INSERT INTO bare VALUES (?, ?, ?)", rows)

        database.transaction(write)
    return len(arrivals) / (time.perf_counter() - begun)


@contextlib.contextmanager
def fresh(server: Postgres | None) -> Iterator[Database]:
    """An empty database."""
    with tempfile.TemporaryDirectory() as folder:
        made: Database = SqliteDatabase(Path(folder) / "plant.db")
        if server is not None:
            made = PostgresDatabase(server.url)
            with contextlib.closing(server_connection(server)) as connection:
                connection.execute("DROP SCHEMA public CASCADE")
                connection.execute("CREATE SCHEMA public")
        try:
            yield made
        finally:
            made.close()


def server_connection(server: Postgres):  # type: ignore[no-untyped-def]
    """Beside the keeper's own."""
    import psycopg

    return psycopg.connect(server.url, autocommit=True)


def main() -> None:
    """One JSON line a measurement."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    kinds = {"numbered": numbered(count), "status": statuses(count)}
    with Postgres() as server:
        for name, where in (("sqlite", None), ("postgresql", server)):
            for batch in BATCHES:
                found: dict[str, float | str] = {"database": name, "batch": batch}
                for kind, arrivals in kinds.items():
                    with fresh(where) as database:
                        found[f"{kind}_per_s"] = round(
                            rate(database, arrivals[: count if batch > 1 else count // 5], batch)
                        )
                with fresh(where) as database:
                    found["bare_per_s"] = round(
                        bare_rate(database, kinds["numbered"][: count if batch > 1 else count // 5], batch)
                    )
                print(json.dumps(found), flush=True)


if __name__ == "__main__":
    main()
