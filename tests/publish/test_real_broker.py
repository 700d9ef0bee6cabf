"""The publisher against Debian's mosquitto: an independent broker, its own tools, its real refusals."""

from __future__ import annotations

import asyncio
import json
import signal
import subprocess
from pathlib import Path

import jsonschema
import pytest

from logger.core.backoff import RetryRules
from logger.publish.schemas import schema
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from tests.publish.listener import listening, running, until
from tests.publish.memory_outbox import MemoryOutbox, WallClock
from tests.publish.mosquitto import Mosquitto, passwords
from tests.publish.proxy import proxy
from tests.publish.samples import EVENT, LIVE, record
from tests.real import require_binary

pytestmark = [pytest.mark.asyncio, pytest.mark.real]

FAST = RetryRules(first_s=0.05, cap_s=0.2, slow_s=0.4, most_per_minute=500)
OPEN = "allow_anonymous true\nmax_queued_messages 100000\n"


def settings(port: int, username: str | None = None, password: str | None = None) -> BrokerSettings:
    return BrokerSettings(
        host="127.0.0.1",
        port=port,
        client_id="bench-a1",
        username=username,
        password=password,
        insecure=True,
        publish_timeout_s=1.0,
        beat_s=1.0,
    )


def publisher(port: int, outbox: MemoryOutbox, **options: str) -> Publisher:
    return Publisher(settings(port, **options), "lab", "a1", outbox, WallClock(), rules=FAST)


def outbox_of(count: int) -> MemoryOutbox:
    outbox = MemoryOutbox()
    for _ in range(count):
        outbox.add("event", EVENT)
    return outbox


async def test_mosquitto_sub_receives_a_record_that_jsonschema_accepts(tmp_path: Path) -> None:
    """Outside check: Debian's mosquitto_sub reads it, the jsonschema library judges it."""
    reader = require_binary("mosquitto_sub")
    outbox = MemoryOutbox()
    with Mosquitto(tmp_path, OPEN) as broker:
        command = [reader, "-V", "5", "-p", str(broker.port), "-t", "lastgrain/v1/lab/a1/record", "-q", "1"]
        child = await asyncio.create_subprocess_exec(*command, "-C", "1", "-W", "10", stdout=subprocess.PIPE)
        async with running(publisher(broker.port, outbox)):
            await asyncio.sleep(0.3)
            outbox.add("record", record().body())
            text, _ = await child.communicate()
    message = json.loads(text)
    jsonschema.Draft202012Validator(schema("record")).validate(message)
    assert message["result"]["residue_pct"] == 12.3
    assert message["seq"] == 1


async def test_ordered_and_complete_when_the_broker_is_killed_in_mid_stream(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path, OPEN).start()
    outbox = outbox_of(2000)
    subject = publisher(broker.port, outbox)
    seen: list[tuple[int, str]] = []
    async with running(subject):
        for _ in range(3):
            async with listening(broker.port) as heard:
                await until(lambda heard=heard: len(heard.seqs()) > 100)  # type: ignore[misc]
                broker.kill()
                seen += [(event["seq"], event["message_id"]) for event in heard.of("event")]
            broker.start()
        async with listening(broker.port) as heard:
            await until(lambda: subject.view().waiting == 0 and subject.view().state == "up", 20.0)
            await until(lambda: heard.seqs()[-1] == 2000)
            seen += [(event["seq"], event["message_id"]) for event in heard.of("event")]
    broker.stop()
    assert (await outbox.waiting()) == (0, 0)
    assert len({seq for seq, _ in seen}) == len(set(seen)), "one seq under two message ids"
    firsts = list(dict.fromkeys(seq for seq, _ in seen))
    assert firsts == sorted(firsts), "a message overtook an older one"


async def test_the_will_says_offline_when_the_bench_is_cut_off(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, OPEN) as broker:
        async with (
            proxy(broker.port) as cable,
            listening(broker.port) as heard,
            running(publisher(cable.port, outbox_of(2))),
        ):
            await until(lambda: len(heard.of("event")) == 2)
            cable.cut()
            await until(lambda: [status["cause"] for status in heard.of("status")][1:2] == ["link-lost"])
            await until(lambda: heard.of("status")[-1]["state"] == "online")
    will = heard.of("status")[1]
    assert (will["state"], will["last_seq"]) == ("offline", 2)


async def test_a_half_open_link_is_left_and_a_new_one_drains_the_backlog(tmp_path: Path) -> None:
    """The far end takes every byte and answers nothing; no reset, no close."""
    with Mosquitto(tmp_path, OPEN) as broker:
        outbox = outbox_of(1)
        async with proxy(broker.port) as cable, running(publisher(cable.port, outbox)):
            await until(lambda: not outbox._in_state("waiting"))
            cable.silent = True
            outbox.add("event", EVENT)
            await asyncio.sleep(1.5)
            assert len(outbox._in_state("waiting")) == 1
            cable.silent = False
            await until(lambda: not outbox._in_state("waiting"))


@pytest.mark.full
async def test_a_slow_link_is_slow_and_not_called_dead(tmp_path: Path) -> None:
    """1.5 kB/s and a 4 kB block of readings: longer under way than the PUBACK's time-out of 1 s."""
    columns = {"t_s": [0.1 * n for n in range(80)], "mass_g": [9.99] * 80, "dp_pa": [2500.25] * 80}
    body = {"run_id": "r1", "started_utc": EVENT["utc"], **columns, "stable": [True] * 80}
    with Mosquitto(tmp_path, OPEN) as broker:
        outbox = MemoryOutbox()
        async with proxy(broker.port) as cable, running(publisher(cable.port, outbox)):
            cable.bytes_per_s = 1500.0
            outbox.add("readings", body)
            outbox.add("event", EVENT)
            await until(lambda: not outbox._in_state("waiting"), 15.0)
    assert outbox.reasons == {}


async def test_a_stopped_broker_is_noticed_and_the_backlog_drains_when_it_wakes(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, OPEN) as broker:
        outbox = outbox_of(1)
        subject = publisher(broker.port, outbox)
        async with running(subject):
            await until(lambda: subject.view().state == "up" and subject.view().waiting == 0)
            broker.signal(signal.SIGSTOP)
            for _ in range(5):
                outbox.add("event", EVENT)
            await until(lambda: subject.view().state == "down", 4.0)
            assert "kept here" in subject.view().text
            await asyncio.sleep(1.5)
            broker.signal(signal.SIGCONT)
            await until(lambda: subject.view().state == "up" and subject.view().waiting == 0, 10.0)
    assert (await outbox.waiting()) == (0, 0)


async def test_a_topic_denied_by_the_acl_is_shown_and_kept(tmp_path: Path) -> None:
    acl = tmp_path / "acl"
    acl.write_text("topic write lastgrain/v1/lab/a1/status\ntopic write lastgrain/v1/lab/a1/live\n")
    acl.chmod(0o600)
    with Mosquitto(tmp_path, f"allow_anonymous true\nacl_file {acl}\n") as broker:
        outbox = outbox_of(2)
        subject = publisher(broker.port, outbox)
        async with running(subject):
            await until(lambda: subject.view().state == "refused")
            view = subject.view()
            acl.write_text("topic write lastgrain/v1/lab/a1/#\n")
            broker.signal(signal.SIGHUP)
            await until(lambda: subject.view().state == "up" and subject.view().waiting == 0)
    assert "Not authorized (0x87) for lastgrain/v1/lab/a1/event" in view.text
    assert "Give the broker's user (anonymous) the right to write" in view.text
    assert view.waiting == 2


async def test_a_message_over_the_size_limit_is_set_aside_and_the_next_one_arrives(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, "allow_anonymous true\nmessage_size_limit 2000\n") as broker:
        outbox = MemoryOutbox()
        outbox.add("event", EVENT | {"text": "x" * 3000})
        outbox.add("event", EVENT)
        subject = publisher(broker.port, outbox)
        async with listening(broker.port) as heard, running(subject):
            await until(lambda: heard.of("event"))
            await until(lambda: subject.view().set_aside == 1)
    assert heard.seqs() == [2]
    assert "Packet too large (0x95)" in outbox.reasons[1]


async def test_a_client_id_used_twice_is_shown_and_not_fought_over(tmp_path: Path) -> None:
    """Debian's mosquitto closes the older link without a word; a naive pair made 4398 connections in 3 s."""
    with Mosquitto(tmp_path, OPEN) as broker:
        first, second = publisher(broker.port, outbox_of(1)), publisher(broker.port, outbox_of(1))
        async with running(first), running(second):
            views = [first, second]
            await until(lambda: any("uses the client id bench-a1" in one.view().text for one in views))
            shown = next(one.view() for one in views if "uses the client id" in one.view().text)
            assert shown.state == "refused"
            before = broker.log.read_text(encoding="utf-8").count("New client connected")
            await asyncio.sleep(2.0)
            after = broker.log.read_text(encoding="utf-8").count("New client connected")
    assert after - before <= 12, "they threw each other out in a loop"


async def test_a_wrong_password_is_refused_and_nothing_is_lost(tmp_path: Path) -> None:
    words = passwords(tmp_path, bench="right")
    with Mosquitto(tmp_path, f"allow_anonymous false\npassword_file {words}\n") as broker:
        outbox = outbox_of(1)
        subject = publisher(broker.port, outbox, username="bench", password="canary-wrong")
        async with running(subject):
            await until(lambda: subject.view().state == "refused")
            view = subject.view()
        good = publisher(broker.port, outbox, username="bench", password="right")
        async with running(good):
            await until(lambda: good.view().state == "up" and good.view().waiting == 0)
    assert "does not accept user name" in view.text
    assert "canary" not in view.text
    assert view.waiting == 1


@pytest.mark.full
async def test_a_stopped_broker_with_shipped_time_outs_is_declared_dead_within_20_s(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, OPEN) as broker:
        shipped = BrokerSettings(host="127.0.0.1", port=broker.port, client_id="a", insecure=True)
        subject = Publisher(shipped, "lab", "a1", MemoryOutbox(), WallClock())
        async with running(subject):
            await until(lambda: subject.view().state == "up")
            broker.signal(signal.SIGSTOP)
            begun_s = asyncio.get_running_loop().time()
            while subject.view().state == "up":
                subject.set_live(LIVE)
                await asyncio.sleep(0.2)
                assert asyncio.get_running_loop().time() - begun_s < 20.0
            broker.signal(signal.SIGCONT)
