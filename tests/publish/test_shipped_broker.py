"""The mosquitto configuration in config/mosquitto, run as it is shipped, with only its paths moved."""

from __future__ import annotations

import asyncio
import json
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import aiomqtt
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from logger.core.backoff import RetryRules
from logger.publish.client import open_link
from logger.publish.errors import ConnectFailed, PublishRefused
from logger.publish.roundtrip import round_trip
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from logger.publish.tls import tls_context
from logger.publish.topics import Topics
from tests.publish.certificates import Plant, plant
from tests.publish.listener import running, until
from tests.publish.memory_outbox import MemoryOutbox, WallClock
from tests.publish.mosquitto import Mosquitto, free_port, passwords
from tests.publish.samples import EVENT
from tests.real import require_binary

pytestmark = [pytest.mark.asyncio, pytest.mark.real]

SHIPPED = Path(__file__).parents[2] / "config" / "mosquitto"
FAST = RetryRules(first_s=0.05, cap_s=0.2, slow_s=0.4, most_per_minute=500)
BENCH, HISTORIAN = "bench-example-a1", "historian"
SITE = Topics("example", "a1")


@dataclass
class Site:
    broker: Mosquitto
    works: Plant

    def settings(self, **options: Any) -> BrokerSettings:
        chosen: dict[str, Any] = {
            "host": "localhost", "port": self.broker.port, "client_id": "bench-a1", "username": BENCH,
            "password": "canary-bench", "ca_file": self.works.ca_file, "publish_timeout_s": 2.0,
        }  # fmt: skip
        return BrokerSettings(**(chosen | options))

    def consumer(self) -> aiomqtt.Client:
        """As README.md asks of consumers: fixed id, clean start off, a session that waits."""
        waits: Any = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        waits.SessionExpiryInterval = 3600
        return aiomqtt.Client(
            "localhost",
            self.broker.port,
            identifier="historian-1",
            username=HISTORIAN,
            password="canary-historian",
            protocol=aiomqtt.ProtocolVersion.V5,
            clean_start=False,
            properties=waits,
            tls_context=tls_context(self.settings()),
        )


@pytest.fixture
def site(tmp_path: Path) -> Any:
    works = plant(tmp_path)
    (tmp_path / "store").mkdir()
    cert, key = works.files("server", "localhost")
    words = passwords(tmp_path, bench_example_a1="canary-bench", historian="canary-historian")
    acl = tmp_path / "acl"
    acl.write_bytes((SHIPPED / "acl").read_bytes())
    acl.chmod(0o600)
    port = free_port()
    moved = {
        "listener 8883": f"listener {port} localhost",
        "/etc/mosquitto/lastgrain/ca.pem": works.ca_file,
        "/etc/mosquitto/lastgrain/server.pem": cert,
        "/etc/mosquitto/lastgrain/server.key": key,
        "/etc/mosquitto/lastgrain/passwords": str(words),
        "/etc/mosquitto/lastgrain/acl": str(acl),
        "/var/lib/mosquitto/lastgrain/": f"{tmp_path / 'store'}/",
    }
    lines = (SHIPPED / "mosquitto.conf").read_text(encoding="utf-8")
    for shipped, here in moved.items():
        assert lines.count(shipped) == 1, f"{shipped} is not in the shipped file once"
        lines = lines.replace(shipped, here)
    with Mosquitto(tmp_path, lines, port) as broker:
        yield Site(broker, works)


@pytest.mark.parametrize("count", [150, pytest.param(3000, marks=pytest.mark.full)])
async def test_a_consumer_that_was_away_gets_all_of_it_in_order(site: Site, count: int) -> None:
    """The subscriber is away, and kill -9 of the broker before it comes back. With Debian's defaults 1000
    of 3000 arrive, and none after a kill."""
    async with site.consumer() as consumer:
        await consumer.subscribe("lastgrain/v1/+/+/event", qos=1)
    outbox = MemoryOutbox()
    for _ in range(count):
        outbox.add("event", EVENT)
    subject = Publisher(site.settings(), "example", "a1", outbox, WallClock(), rules=FAST)
    async with running(subject):
        await until(lambda: subject.view().waiting == 0 and subject.view().state == "up", 60.0)
    site.broker.kill()
    site.broker.start()
    seqs: list[int] = []
    async with site.consumer() as consumer, asyncio.timeout(60):
        async for message in consumer.messages:
            assert isinstance(message.payload, bytes)
            seqs.append(json.loads(message.payload)["seq"])
            if seqs[-1] == count:
                break
    assert sorted(set(seqs)) == list(range(1, count + 1)), "a gap"
    assert seqs == sorted(seqs), "out of order"


async def test_a_bench_writes_its_own_topics_only(site: Site) -> None:
    async with open_link(site.settings()) as link:
        for topic in ("status", "live", "event", "record", "latest", "readings", "check"):
            await link.publish(f"{SITE.base}/{topic}", b"{}")
        for topic in ("lastgrain/v1/example/a2/record", "lastgrain/v1/other/a1/record", "elsewhere"):
            with pytest.raises(PublishRefused, match="Not authorized"):
                await link.publish(topic, b"{}")


async def test_a_bench_reads_nothing_but_its_check_topic(site: Site) -> None:
    """mosquitto grants any subscription and then delivers only what may be read."""
    own = aiomqtt.Client(
        "localhost",
        site.broker.port,
        username=BENCH,
        password="canary-bench",
        protocol=aiomqtt.ProtocolVersion.V5,
        tls_context=tls_context(site.settings()),
    )
    heard: list[str] = []
    async with own, open_link(site.settings()) as link:
        await own.subscribe("#", qos=1)
        for topic in (SITE.of("record"), SITE.of("status"), SITE.check):
            await link.publish(topic, b"{}", retain=True)
        async with asyncio.timeout(5):
            async for message in own.messages:
                heard.append(str(message.topic))
                if message.topic.matches(SITE.check):
                    break
    assert heard == [SITE.check]


async def test_a_consumer_writes_nothing(site: Site) -> None:
    async with open_link(site.settings(username=HISTORIAN, password="canary-historian")) as link:
        with pytest.raises(PublishRefused):
            await link.publish(SITE.of("record"), b"{}")


async def test_no_name_no_entry_and_no_plain_port(site: Site) -> None:
    for wrong in ({"username": None, "password": None}, {"password": "wrong"}):
        with pytest.raises(ConnectFailed, match="Refused by broker"):
            async with open_link(site.settings(**wrong)):
                pass
    with pytest.raises(ConnectFailed, match="TLS port"):
        async with open_link(site.settings(insecure=True, ca_file=None)):
            pass


async def test_doctor_proves_delivery(site: Site) -> None:
    found = await round_trip(site.settings(), SITE, "n-1", time.time())
    assert [finding.ok for finding in found][1:] == [True, True]
    assert "Encrypted" in found[0].sentence


async def test_an_oversize_message_is_refused_and_named(site: Site) -> None:
    async with open_link(site.settings()) as link:
        with pytest.raises(PublishRefused, match="Packet too large"):
            await link.publish(SITE.of("event"), b" " * 1_100_000)
        await link.publish(SITE.of("event"), b"{}")


async def test_the_log_of_the_broker_shows_no_secret_and_no_warning_about_the_file(site: Site) -> None:
    async with open_link(site.settings()) as link:
        await link.publish(SITE.of("event"), b"{}")
    log = site.broker.log.read_text(encoding="utf-8")
    assert "canary" not in log
    # A connection that ends without TLS's last word is the visitor's manner, not the file's fault.
    told = [line for line in log.splitlines() if "unexpected eof while reading" not in line]
    assert not [line for line in told if "Error" in line]


async def test_mosquitto_sub_reads_with_the_plants_authority(site: Site) -> None:
    """Outside check: Debian's own subscriber over TLS, with the historian's name."""
    reader = require_binary("mosquitto_sub")
    command = [reader, "-V", "5", "-h", "localhost", "-p", str(site.broker.port), "--cafile", site.works.ca_file,
               "-u", HISTORIAN, "-P", "canary-historian", "-t", SITE.of("latest"), "-C", "1", "-W", "10"]  # fmt: skip

    async with open_link(site.settings()) as link:
        await link.publish(SITE.of("latest"), b'{"here": 1}', retain=True)
    child = await asyncio.create_subprocess_exec(*command, stdout=subprocess.PIPE)
    text, _ = await child.communicate()
    assert json.loads(text) == {"here": 1}
