"""The same tables on PostgreSQL from Debian; read back by psql, which nobody here wrote."""

from __future__ import annotations

import asyncio
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from logger.sink.batch import Arrival
from logger.sink.database import DatabaseAway, PostgresDatabase, WrongDatabase, open_database
from logger.sink.keeping import Keeper
from logger.sink.subscriber import Sink, SinkOptions
from logger.sink.tables import statements
from tests.publish.listener import running, until
from tests.publish.memory_outbox import MemoryOutbox, utc_now
from tests.publish.mosquitto import Mosquitto
from tests.publish.samples import EVENT
from tests.publish.test_real_broker import FAST, OPEN, publisher, settings
from tests.real import require_binary
from tests.sink.plant import arrival, bench_report
from tests.sink.postgres import Postgres

pytestmark = [pytest.mark.real, pytest.mark.full]


@pytest.fixture(scope="module")
def server() -> Iterator[Postgres]:
    pytest.importorskip("psycopg", reason="the extra `sink` is not installed")
    require_binary("psql")
    with Postgres() as made:
        yield made


@pytest.fixture
def database(server: Postgres) -> Iterator[PostgresDatabase]:
    psql(server, "DROP SCHEMA public CASCADE; CREATE SCHEMA public")
    made = PostgresDatabase(server.url)
    yield made
    made.close()


def psql(server: Postgres, sql: str) -> list[str]:
    program = require_binary("psql")
    done = subprocess.run(
        [program, "-q", "-At", "-c", sql, server.url], capture_output=True, text=True, check=True
    )
    return done.stdout.splitlines()


def test_two_runs_in_any_order_and_twice_are_there_once(server: Postgres, database: PostgresDatabase) -> None:
    subject = Keeper(database, utc_now)
    for order in ((7, 2, 9), (1, 1, 10, 3, 5), (4, 6, 8, 2)):
        subject.keep([arrival(seq) for seq in order])
    assert psql(server, "SELECT seq, kind FROM message ORDER BY seq") == [
        f"{seq}|{kind}"
        for seq, kind in enumerate(("event", "readings", "event", "readings", "record") * 2, 1)
    ]
    assert psql(server, "SELECT count(*), sum(mass_g), bool_or(stable) FROM reading WHERE seq = 2") == [
        "3|19.9|t"
    ]
    assert psql(server, "SELECT run_id, residue_pct, body::json->>'seq' FROM newest_record ORDER BY seq") == [
        "run-1|12.9|5",
        "run-2|12.9|10",
    ]
    found = bench_report(database)
    assert (found.missing, found.duplicates, found.out_of_order) == ((), 2, 7)


def test_gaps_and_what_cannot_be_kept(server: Postgres, database: PostgresDatabase) -> None:
    bad = Arrival(arrival(1).topic, b"\x00\xff")
    Keeper(database, utc_now).keep([arrival(4), bad, arrival(9), bad])
    assert bench_report(database).missing == ((1, 3), (5, 8))
    assert psql(server, "SELECT fault, encode(payload, 'hex') FROM set_aside") == ["malformed|00ff"]


def test_a_server_that_dies_is_away_and_nothing_is_half_kept(
    server: Postgres, database: PostgresDatabase
) -> None:
    subject = Keeper(database, utc_now)
    subject.keep([arrival(1)])
    server.kill()
    with pytest.raises(DatabaseAway):
        subject.keep([arrival(2), arrival(3)])
    with pytest.raises(DatabaseAway):
        subject.keep([arrival(2), arrival(3)])
    server.start()
    subject.keep([arrival(2), arrival(3)])
    assert psql(server, "SELECT count(*) FROM message") == ["3"]


def test_two_sinks_keep_one_bench_together(server: Postgres, database: PostgresDatabase) -> None:
    """As the members of a shared subscription do: each gets a part, in no order, and some come to both."""

    def keep(start: int) -> None:
        own = PostgresDatabase(server.url)
        for seq in range(start, 201, 3):
            Keeper(own, utc_now).keep([arrival(seq), arrival(min(seq + 1, 200), "b2")])
        own.close()

    threads = [threading.Thread(target=keep, args=(start,)) for start in (1, 2, 3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    first, second = bench_report(database), bench_report(database, "b2")
    assert (first.messages, first.missing) == (200, ())
    assert (second.messages, second.missing) == (199, ((1, 1),))
    assert psql(server, "SELECT count(*) FROM sink") == ["1"]


def test_tables_that_were_made_as_partitions_are_taken_as_they_are(
    server: Postgres, database: PostgresDatabase
) -> None:
    """As docs/fleet.md says for many benches: the same tables, cut by bench, made before the first start."""
    for statement in statements("postgresql"):
        name = statement.split()[2]
        cut = statement.startswith("CREATE TABLE") and name in ("message", "record", "event", "reading")
        psql(server, f"{statement} PARTITION BY HASH (site, bench)" if cut else statement)
        for part in range(4 * cut):
            values = f"FOR VALUES WITH (MODULUS 4, REMAINDER {part})"
            psql(server, f"CREATE TABLE {name}_{part} PARTITION OF {name} {values}")
    psql(server, "INSERT INTO sink (version) VALUES (1)")
    subject = Keeper(database, utc_now)
    for _ in range(2):
        subject.keep([arrival(seq, bench) for seq in range(1, 6) for bench in ("a1", "b2", "c3", "d4", "e5")])
    found = [bench_report(database, bench) for bench in ("a1", "e5")]
    assert [(one.messages, one.records, one.duplicates) for one in found] == [(5, 1, 5), (5, 1, 5)]
    filled = psql(server, "SELECT count(DISTINCT tableoid), count(*) FROM message")
    assert filled[0].endswith("|25")
    assert not filled[0].startswith("1|")


def test_the_tables_of_others_are_left_alone(server: Postgres, database: PostgresDatabase) -> None:
    psql(server, "CREATE TABLE record (x integer)")
    with pytest.raises(WrongDatabase, match="tables of others"):
        Keeper(open_database(server.url), utc_now).keep([arrival(1)])


@pytest.mark.asyncio
async def test_messages_wait_at_the_broker_while_the_server_is_dead(
    server: Postgres, database: PostgresDatabase, tmp_path: Path
) -> None:
    told: list[str] = []
    outbox = MemoryOutbox()
    with Mosquitto(tmp_path, OPEN) as broker:
        options = SinkOptions(database_retry_s=0.1)
        mine = replace(settings(broker.port), client_id="sink")
        subject = Sink(mine, Keeper(database, utc_now), options, told.append, FAST)
        async with running(subject):
            await until(lambda: told)
            async with running(publisher(broker.port, outbox)):
                outbox_of_events(outbox, 100)
                await until(lambda: subject.kept >= 50)
                await asyncio.to_thread(server.kill)
                outbox_of_events(outbox, 100)
                await until(lambda: any("cannot be written" in line for line in told))
                await asyncio.to_thread(server.start)
                outbox_of_events(outbox, 100)
                await until(lambda: subject.kept >= 300)
    assert psql(server, "SELECT count(*), max(seq) FROM message") == ["300|300"]
    assert any("takes messages" in line for line in told)


def outbox_of_events(outbox: MemoryOutbox, count: int) -> None:
    for _ in range(count):
        outbox.add("event", EVENT)
