"""The edge node on Debian's mosquitto, heard by a plain subscriber, decoded by protobuf."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiomqtt
import pytest

from logger.app.clock import BenchClock, utc_now
from logger.app.ids import UuidV7
from logger.app.sparkplug import with_sparkplug
from logger.core.ports import OutboxItem
from logger.settings import load_bench
from logger.sparkplug.node import Names
from logger.sparkplug.publisher import SparkplugOptions, SparkplugPublisher
from logger.store.journal import Journal
from logger.store.outbox_rows import add_message
from logger.store.sparkplug_memory import SparkplugMemory
from tests.publish.listener import running, until
from tests.publish.memory_outbox import MemoryOutbox, WallClock
from tests.publish.mosquitto import Mosquitto
from tests.publish.proxy import proxy
from tests.publish.samples import LIVE, record
from tests.publish.test_real_broker import FAST, OPEN, settings
from tests.sparkplug.decoders import REBIRTH_COMMAND, command, decoded, values

pytestmark = [pytest.mark.asyncio, pytest.mark.real]

NCMD = "spBv1.0/lab/NCMD/a1"
STATE = "spBv1.0/STATE/scada-1"


@dataclass
class ShortMemory:
    """In place of the store."""

    outbox: MemoryOutbox = field(default_factory=MemoryOutbox)
    bdseq: int = -1
    sent: int = 0

    async def next_bdseq(self) -> int:
        self.bdseq += 1
        return self.bdseq

    async def record_to_send(self) -> OutboxItem | None:
        found = [slot.item for slot in self.outbox.slots.values() if slot.item.kind == "record"]
        return next((item for item in found if item.seq > self.sent), None)

    async def note_sent(self, seq: int) -> None:
        self.sent = seq

    async def newest_record(self) -> OutboxItem | None:
        return await self.outbox.newest_record()

    async def counts(self) -> tuple[int, int, int]:
        return (await self.outbox.last_seq(), *(await self.outbox.waiting()))

    def add_record(self, run: str, **changed: Any) -> None:
        self.outbox.add("record", record().body() | {"run_id": run} | changed)


Heard = list[tuple[str, bytes, int, bool]]


@contextlib.asynccontextmanager
async def scada(port: int) -> AsyncIterator[tuple[aiomqtt.Client, Heard]]:
    """Hears everything of Sparkplug from here on, and can speak."""
    heard: Heard = []
    async with aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V5) as client:
        await client.subscribe("spBv1.0/#", qos=1)

        async def collect() -> None:
            async for message in client.messages:
                assert isinstance(message.payload, bytes)
                heard.append((str(message.topic), message.payload, message.qos, message.retain))

        task = asyncio.create_task(collect())
        try:
            yield client, heard
        finally:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task


def kinds(heard: Heard) -> list[str]:
    return [topic.split("/")[2] for topic, *_ in heard if "/STATE/" not in topic and "/NCMD/" not in topic]


def of(heard: Heard, kind: str) -> list[bytes]:
    return [payload for topic, payload, *_ in heard if topic.split("/")[2] == kind]


def node(port: int, memory: ShortMemory, host: str = "") -> SparkplugPublisher:
    options = SparkplugOptions(names=Names("lab", "a1"), primary_host=host, software="test", tick_s=0.05)
    made = SparkplugPublisher(settings(port), options, memory, WallClock(), FAST)
    made.set_live(LIVE)
    return made


async def test_births_data_rebirth_on_request_and_death_by_will(tmp_path: Path) -> None:
    memory = ShortMemory()
    with Mosquitto(tmp_path, OPEN) as broker:
        async with proxy(broker.port) as cable, scada(broker.port) as (host, heard):
            subject = node(cable.port, memory)
            async with running(subject):
                await until(lambda: kinds(heard) == ["NBIRTH", "DBIRTH"])
                subject.set_live(LIVE | {"mass_g": 11.0})
                await until(lambda: of(heard, "DDATA"))
                memory.add_record("r1")
                await until(lambda: len(of(heard, "DDATA")) == 2 and of(heard, "NDATA"))
                for junk in (b"\xff\xff", b"", command(REBIRTH_COMMAND | {"boolean_value": False})):
                    await host.publish(NCMD, junk, qos=1)
                await until(lambda: subject.node.ignored == 3)
                assert "NBIRTH" not in kinds(heard)[2:]
                await host.publish(NCMD, command(REBIRTH_COMMAND), qos=1)
                await until(lambda: len(of(heard, "DBIRTH")) == 2)
                before = len(heard)
                cable.cut()
                await until(lambda: len(of(heard, "DBIRTH")) == 3)
    assert all((qos, retain) == (0, False) for topic, _, qos, retain in heard if "/NBIRTH/" in topic)
    first, again, after = (values(birth)["bdSeq"] for birth in of(heard, "NBIRTH"))
    death = of(heard, "NDEATH")[0]
    assert (first, again, after) == (0, 0, 1)
    assert values(death) == {"bdSeq": 0}
    assert next(qos for topic, _, qos, _ in heard if "/NDEATH/" in topic) == 1
    assert kinds(heard[before:])[:3] == ["NDEATH", "NBIRTH", "DBIRTH"]
    counted = [
        decoded(payload).seq for topic, payload, *_ in heard[:before] if topic.split("/")[2] in COUNTED
    ]
    births = [place for place, seq in enumerate(counted) if seq == 0]
    assert counted[births[1] :] == list(range(len(counted) - births[1]))
    assert counted[: births[1]] == list(range(births[1]))
    assert values(of(heard, "DBIRTH")[1])["Live/mass_g"] == 11.0
    assert values(of(heard, "DBIRTH")[1])["Result/residue_pct"] == 12.9


COUNTED = ("NBIRTH", "DBIRTH", "NDATA", "DDATA")


async def test_a_clean_end_says_death_itself_and_the_will_goes_with_it(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, OPEN) as broker:
        async with scada(broker.port) as (_, heard):
            async with running(node(broker.port, ShortMemory(bdseq=254))):
                await until(lambda: len(heard) >= 2)
            await until(lambda: of(heard, "NDEATH"))
            await asyncio.sleep(0.2)
    assert kinds(heard)[-1] == "NDEATH"
    assert [values(death) for death in of(heard, "NDEATH")] == [{"bdSeq": 255}]


async def test_nothing_is_sent_without_the_primary_host_and_what_it_missed_comes_as_history(
    tmp_path: Path,
) -> None:
    memory = ShortMemory()

    def state(online: bool, stamp: int) -> bytes:
        return json.dumps({"online": online, "timestamp": stamp}).encode()

    with Mosquitto(tmp_path, OPEN) as broker:
        async with scada(broker.port) as (host, heard), running(node(broker.port, memory, "scada-1")) as work:
            await asyncio.sleep(0.3)
            assert kinds(heard) == []
            await host.publish(STATE, state(True, 10), qos=1, retain=True)
            await until(lambda: kinds(heard)[:2] == ["NBIRTH", "DBIRTH"])
            await host.publish(STATE, state(False, 9), qos=1)
            await asyncio.sleep(0.2)
            assert not of(heard, "NDEATH"), "older than what was heard"
            await host.publish(STATE, state(False, 20), qos=1, retain=True)
            await until(lambda: of(heard, "NDEATH"))
            away = len(heard)
            for run in ("r1", "r2", "r3"):
                memory.add_record(run)
            await asyncio.sleep(0.3)
            assert kinds(heard[away:]) == []
            await host.publish(STATE, state(True, 30), qos=1, retain=True)
            await until(lambda: len(of(heard, "DDATA")) == 2)
            assert not work.done()
    births = of(heard, "NBIRTH")
    assert values(of(heard, "NDEATH")[0])["bdSeq"] == values(births[0])["bdSeq"]
    assert values(births[1])["bdSeq"] > values(births[0])["bdSeq"]
    newest = values(of(heard, "DBIRTH")[1])
    assert newest["Result/run_id"] == "r3"
    past = [decoded(payload) for payload in of(heard, "DDATA")]
    assert all(metric.is_historical for data in past for metric in data.metrics)
    runs = [
        next(metric.string_value for metric in data.metrics if metric.string_value in RUNS) for data in past
    ]
    assert runs == ["r1", "r2"]


RUNS = ("r1", "r2", "r3")


async def test_the_service_keeps_the_count_in_its_store_and_speaks_when_the_bench_file_asks(
    tmp_path: Path,
) -> None:
    text = (Path(__file__).parents[2] / "config" / "benches" / "demo-beside.toml").read_text(encoding="utf-8")
    path = tmp_path / "bench.toml"
    with Mosquitto(tmp_path, OPEN) as broker:
        table = f'\n[broker]\nhost = "127.0.0.1"\nport = {broker.port}\ninsecure = true\n'
        path.write_text(f"{text}{table}\n[sparkplug]\n", encoding="utf-8")
        bench = load_bench(path)
        for expected in (0, 1):
            failures: list[Exception] = []
            journal = Journal(tmp_path / "store.db", utc_now, UuidV7().new_id, failures.append)
            plant, jobs = with_sparkplug(Silent(), bench, settings(broker.port), journal.writer, BenchClock())
            async with scada(broker.port) as (_, heard):
                task = asyncio.ensure_future(jobs["sparkplug"]())
                plant.set_live(LIVE)
                await until(lambda heard=heard: of(heard, "DBIRTH"))  # type: ignore[misc]
                task.cancel()
                await asyncio.gather(task, return_exceptions=True)
            assert values(of(heard, "NBIRTH")[0])["bdSeq"] == expected
            assert heard[0][0] == f"spBv1.0/{bench.site}/NBIRTH/{bench.bench}"
            await asyncio.to_thread(journal.close)
        path.write_text(f"{text}{table}", encoding="utf-8")
        assert with_sparkplug(Silent(), load_bench(path), None, journal.writer, BenchClock())[1] == {}


async def test_the_store_gives_each_record_once_and_none_from_before(tmp_path: Path) -> None:
    failures: list[Exception] = []
    journal = Journal(tmp_path / "store.db", utc_now, UuidV7().new_id, failures.append)

    async def add(name: str) -> None:
        await asyncio.wrap_future(
            journal.writer.submit(
                lambda connection: add_message(connection, name, "record", "r", utc_now(), {"run_id": name})
            )
        )

    memory = SparkplugMemory(journal.writer)
    await add("old")
    assert await memory.record_to_send() is None
    await add("new")
    found = await memory.record_to_send()
    assert found is not None
    assert found.message_id == "new"
    await memory.note_sent(found.seq)
    assert await SparkplugMemory(journal.writer).record_to_send() is None
    assert [await memory.next_bdseq() for _ in range(3)] == [0, 1, 2]
    near = "UPDATE meta SET value = '254' WHERE key = 'sparkplug_bdseq'"
    await asyncio.wrap_future(journal.writer.submit(lambda connection: connection.execute(near).rowcount))
    assert [await memory.next_bdseq() for _ in range(3)] == [255, 0, 1]
    await asyncio.to_thread(journal.close)


class Silent:
    """A plant that nobody hears."""

    def view(self) -> Any:
        return None

    def set_live(self, values: dict[str, Any]) -> None:
        return
