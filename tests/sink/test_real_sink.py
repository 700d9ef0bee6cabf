"""The sink against Debian's mosquitto: outages of the broker, and kill -9 of the sink itself."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import aiomqtt
import pytest

from logger.app.sink import sink_report
from logger.sink.database import SqliteDatabase
from logger.sink.keeping import Keeper
from logger.sink.subscriber import Sink, SinkOptions
from tests.publish.listener import running, until
from tests.publish.memory_outbox import MemoryOutbox, utc_now
from tests.publish.mosquitto import Mosquitto
from tests.publish.samples import EVENT
from tests.publish.test_real_broker import FAST, OPEN, outbox_of, publisher, settings
from tests.sink.plant import bench_report, body_of, select

pytestmark = [pytest.mark.asyncio, pytest.mark.real]

KEPT = f"{OPEN}persistence true\nautosave_interval 1\nautosave_on_changes true\n"


def sink(port: int, path: Path, told: list[str], share: str = "") -> Sink:
    mine = replace(settings(port), client_id=f"sink-{path.stem}")
    return Sink(mine, Keeper(SqliteDatabase(path), utc_now), SinkOptions(share=share), told.append, FAST)


def kept(path: Path) -> int:
    return int(select(path, "SELECT count(*) FROM message")[0][0]) if path.exists() else 0


async def test_what_was_sent_while_the_sink_was_away_is_kept_and_strange_messages_hold_nothing_up(
    tmp_path: Path,
) -> None:
    path, told = tmp_path / "plant.db", list[str]()
    outbox = outbox_of(10)
    with Mosquitto(tmp_path, OPEN) as broker:
        async with running(sink(broker.port, path, told)):
            await until(lambda: told)
        async with running(publisher(broker.port, outbox)):
            await until(lambda: not outbox._in_state("waiting"))
        async with aiomqtt.Client("127.0.0.1", broker.port) as stranger:
            await stranger.publish("lastgrain/v1/lab/a1/event", b"\xffstrange", qos=1)
        async with running(sink(broker.port, path, told)):
            await until(lambda: kept(path) == 10 and select(path, "SELECT 1 FROM set_aside"))
    assert "which kept a session" in told[-1]
    found = bench_report(SqliteDatabase(path))
    assert (found.state, found.missing, found.behind, found.duplicates) == ("offline", (), 0, 0)
    assert select(path, "SELECT fault FROM set_aside") == [("malformed",)]


async def test_a_refused_subscription_is_told(tmp_path: Path) -> None:
    acl = tmp_path / "acl"
    acl.write_text("topic read lastgrain/v1/+/+/event\n")
    acl.chmod(0o600)
    told: list[str] = []
    with Mosquitto(tmp_path, f"allow_anonymous false\nacl_file {acl}\n") as broker:
        async with running(sink(broker.port, tmp_path / "plant.db", told)):
            await until(lambda: told)
    assert "does not accept" in told[0]


@pytest.mark.full
async def test_the_broker_is_killed_in_mid_stream_and_nothing_is_lost(tmp_path: Path) -> None:
    path, told, outbox = tmp_path / "plant.db", list[str](), outbox_of(2000)

    def accounted_for() -> int:
        """Kept, or told as missing."""
        now = bench_report(SqliteDatabase(path))
        return now.messages + now.missing_count + now.behind

    with Mosquitto(tmp_path, f"{KEPT}persistence_location {tmp_path}/\n") as broker:
        async with running(sink(broker.port, path, told)):
            await until(lambda: told)
            async with running(publisher(broker.port, outbox)):
                for share in (400, 1100):
                    await until(lambda share=share: kept(path) > share, 20.0)  # type: ignore[misc]
                    broker.kill()
                    await asyncio.sleep(0.2)
                    broker.start()
                await until(lambda: not outbox._in_state("waiting"), 30.0)
                # A killed mosquitto may forget what it acknowledged within its autosave; that is told as a gap.
                await until(lambda: accounted_for() == 2000)
    found = bench_report(SqliteDatabase(path))
    assert found.missing_count + found.behind <= 4, "more than two kills of a broker that saves each change"
    assert len(select(path, "SELECT DISTINCT message_id FROM message")) == found.messages


@contextlib.contextmanager
def child(port: int, path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """The installed command as its own process, killed hard at the end."""
    command = [sys.executable, "-m", "logger.cli", "sink", "--broker", f"mqtt://127.0.0.1:{port}"]
    process = subprocess.Popen([*command, "--database", str(path)], stderr=subprocess.DEVNULL)
    with process:
        try:
            yield process
        finally:
            process.kill()


@pytest.mark.full
async def test_kill_minus_nine_of_the_sink_loses_nothing_and_keeps_nothing_twice(tmp_path: Path) -> None:
    path, outbox = tmp_path / "plant.db", MemoryOutbox()
    with Mosquitto(tmp_path, OPEN) as broker:
        with child(broker.port, path):
            await until(path.exists)
            await asyncio.sleep(0.5)
        async with running(publisher(broker.port, outbox)):
            for part in range(3):
                add_runs(outbox, 100)
                with contextlib.ExitStack() as held, child(broker.port, path):
                    aim = 600 * part + 350
                    await until(lambda aim=aim: kept(path) > aim, 20.0)  # type: ignore[misc]
                    # It has messages in hand that it cannot keep: killed now, it must not have taken them.
                    held.enter_context(locked(path))
                    add_runs(outbox, 20)
                    await until(lambda: not outbox._in_state("waiting"))
                    await asyncio.sleep(0.2)
            add_runs(outbox, 1)
            with child(broker.port, path) as last:
                await until(lambda: kept(path) == 1805, 20.0)
                last.send_signal(signal.SIGTERM)
                assert await asyncio.to_thread(last.wait, 10) == 0
    found = bench_report(SqliteDatabase(path))
    assert (found.messages, found.records, found.missing, found.behind) == (1805, 361, (), 0)
    assert select(path, "SELECT count(*), count(DISTINCT seq) FROM message") == [(1805, 1805)]
    assert select(path, "SELECT count(*) FROM reading") == [(2 * 3 * 361,)]
    assert select(path, "SELECT count(*) FROM set_aside") == [(0,)]
    assert sink_report(str(path), json_out=True)["benches"][0]["messages"] == 1805


@contextlib.contextmanager
def locked(path: Path) -> Iterator[None]:
    """Another program holds the database's write lock."""
    with contextlib.closing(sqlite3.connect(path, timeout=10.0, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield


def add_runs(outbox: MemoryOutbox, count: int) -> None:
    for kind in ("event", "readings", "event", "readings", "record") * count:
        outbox.add(kind, body_of(kind, len(outbox.slots) + 1))


@pytest.mark.full
async def test_two_sinks_of_a_group_divide_the_messages(tmp_path: Path) -> None:
    """MQTT 5 shared subscription on mosquitto: each message goes to one of them."""
    told: list[str] = []
    one, two, outbox = tmp_path / "one.db", tmp_path / "two.db", MemoryOutbox()
    with Mosquitto(tmp_path, OPEN) as broker:
        async with (
            running(sink(broker.port, one, told, "historian")),
            running(sink(broker.port, two, told, "historian")),
        ):
            await until(lambda: len(told) == 2)
            for _ in range(100):
                outbox.add("event", EVENT)
            async with running(publisher(broker.port, outbox)):
                await until(lambda: kept(one) + kept(two) == 100)
    both = [{row[0] for row in select(path, "SELECT seq FROM message")} for path in (one, two)]
    assert both[0] | both[1] == set(range(1, 101))
    assert all(both), "both took part"
