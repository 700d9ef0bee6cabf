"""The installed sink over TLS: Debian's mosquitto, certificates of an invented plant, and one child a case."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from logger.sink.database import SqliteDatabase
from tests.publish.certificates import Plant, plant
from tests.publish.listener import running, until
from tests.publish.memory_outbox import WallClock
from tests.publish.mosquitto import Mosquitto
from tests.publish.test_real_broker import FAST, OPEN, outbox_of
from tests.sink.plant import bench_report, select

pytestmark = [pytest.mark.asyncio, pytest.mark.real, pytest.mark.full]

MESSAGES = 20


@dataclass
class Child:
    """`lastgrain sink` and the file its sentences go to."""

    process: subprocess.Popen[bytes]
    log: Path

    @property
    def said(self) -> str:
        return self.log.read_text(encoding="utf-8")


@contextlib.contextmanager
def sink(folder: Path, address: str, *options: str) -> Iterator[Child]:
    command = [sys.executable, "-m", "logger.cli", "sink", "--broker", address]
    log = folder / "sink.log"
    with log.open("wb") as stream:
        process = subprocess.Popen(
            [*command, "--database", str(folder / "plant.db"), *options],
            stderr=stream,
            stdin=subprocess.DEVNULL,
        )
    with process:
        try:
            yield Child(process, log)
        finally:
            process.kill()


def authority(folder: Path, name: str) -> Plant:
    (folder / name).mkdir()
    return plant(folder / name)


def encrypted(folder: Path, works: Plant, host: str = "localhost") -> Mosquitto:
    cert, key = works.files("broker", host)
    return Mosquitto(folder, f"{OPEN}certfile {cert}\nkeyfile {key}\n")


async def stopped(child: Child) -> int:
    child.process.send_signal(signal.SIGTERM)
    return await asyncio.to_thread(child.process.wait, 10)


async def test_with_the_plants_own_authority_every_message_is_kept_once(tmp_path: Path) -> None:
    works, outbox = authority(tmp_path, "works"), outbox_of(MESSAGES)
    with encrypted(tmp_path, works) as broker:
        address = f"mqtts://localhost:{broker.port}"
        with sink(tmp_path, address, "--ca-file", works.ca_file) as child:
            await until(lambda: "Connected to" in child.said, 15.0)
            bench = BrokerSettings(
                host="localhost", port=broker.port, client_id="bench-a1", ca_file=works.ca_file
            )
            async with running(Publisher(bench, "lab", "a1", outbox, WallClock(), rules=FAST)):
                await until(lambda: not outbox._in_state("waiting"))
            database = tmp_path / "plant.db"
            await until(lambda: select(database, "SELECT count(*) FROM message") == [(MESSAGES,)], 10.0)
            assert await stopped(child) == 0
    found = bench_report(SqliteDatabase(tmp_path / "plant.db"))
    assert (found.messages, found.missing, found.duplicates) == (MESSAGES, (), 0)


@pytest.mark.parametrize("known", ["another", "none"])
async def test_a_broker_of_an_unknown_authority_is_refused_and_told(tmp_path: Path, known: str) -> None:
    works, another = authority(tmp_path, "works"), authority(tmp_path, "another")
    options = ("--ca-file", another.ca_file) if known == "another" else ()
    with encrypted(tmp_path, works) as broker:
        with sink(tmp_path, f"mqtts://localhost:{broker.port}", *options) as child:
            await until(lambda: bool(child.said), 15.0)
            assert await stopped(child) == 0
        assert "New client connected" not in broker.log.read_text(encoding="utf-8")
    assert child.said.strip() == (
        f"The certificate of localhost:{broker.port} comes from an authority this computer does not know: name "
        "the plant's authority with ca_file."
    )
    assert select(tmp_path / "plant.db", "SELECT count(*) FROM message") == [(0,)]


async def test_a_certificate_of_another_host_is_refused_and_told(tmp_path: Path) -> None:
    works = authority(tmp_path, "works")
    with encrypted(tmp_path, works, "mes.plant.example") as broker:
        with sink(tmp_path, f"mqtts://localhost:{broker.port}", "--ca-file", works.ca_file) as child:
            await until(lambda: bool(child.said), 15.0)
            assert await stopped(child) == 0
        assert "New client connected" not in broker.log.read_text(encoding="utf-8")
    assert "localhost" in child.said
    assert "certificate" in child.said


async def test_plain_mqtt_at_a_port_with_tls_comes_to_nothing_and_is_told(tmp_path: Path) -> None:
    works = authority(tmp_path, "works")
    with (
        encrypted(tmp_path, works) as broker,
        sink(tmp_path, f"mqtt://localhost:{broker.port}") as child,
    ):
        await until(lambda: bool(child.said), 15.0)
        assert await stopped(child) == 0
    assert "Connected" not in child.said
    assert "Traceback" not in child.said
