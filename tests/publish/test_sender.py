"""The publisher against the demo broker (rumqttd, an MQTT 5 broker that is not ours)."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator

import pytest

from logger.app.demo_broker import DemoBroker, start_broker
from logger.core.backoff import RetryRules
from logger.publish.sender import Publisher
from logger.publish.session import LIVE_GAP_S
from logger.publish.settings import BrokerSettings
from tests.publish.listener import listening, running, until
from tests.publish.memory_outbox import MemoryOutbox, WallClock

pytestmark = pytest.mark.asyncio

FAST = RetryRules(first_s=0.05, cap_s=0.2, slow_s=0.3, most_per_minute=200)
EVENT = {"kind": "note", "utc": "2026-01-01T00:00:00.000Z", "level": "info", "text": "a note"}
RECORD = {
    "run_id": "r1",
    "revision": 1,
    "review": "unreviewed",
    "outcome": "endpoint",
    "result": {"residue_pct": 12.3},
}


@pytest.fixture
def broker() -> Iterator[DemoBroker]:
    with start_broker() as running_broker:
        yield running_broker


def plain(port: int, client_id: str = "bench-under-test") -> BrokerSettings:
    return BrokerSettings(host="127.0.0.1", port=port, client_id=client_id, insecure=True)


def publisher(port: int, outbox: MemoryOutbox, **options: str) -> Publisher:
    return Publisher(plain(port, **options), "lab", "a1", outbox, WallClock(), rules=FAST)


async def test_outbox_arrives_in_order_with_envelope(broker: DemoBroker) -> None:
    outbox = MemoryOutbox()
    for _ in range(30):
        outbox.add("event", EVENT)
    outbox.add("record", RECORD)
    async with listening(broker.port) as heard, running(publisher(broker.port, outbox)):
        await until(lambda: len(heard.seqs()) == 31)
    assert heard.seqs() == list(range(1, 32))
    record = heard.of("record")[0]
    assert record["schema"] == "lastgrain/record/1"
    assert (record["site"], record["bench"], record["seq"]) == ("lab", "a1", 31)
    assert record["message_id"] == outbox.slots[31].item.message_id
    assert record["result"]["residue_pct"] == 12.3
    assert record["historical"] is False
    assert (await outbox.waiting()) == (0, 0)


async def test_birth_and_farewell_are_retained(broker: DemoBroker) -> None:
    outbox = MemoryOutbox()
    subject = publisher(broker.port, outbox)
    outbox.add("event", EVENT)
    async with listening(broker.port) as heard:
        async with running(subject):
            await until(lambda: heard.of("event"))
        await until(lambda: len(heard.of("status")) == 2)
    online, offline = heard.of("status")
    assert (online["state"], online["cause"]) == ("online", "running")
    assert (offline["state"], offline["cause"], offline["last_seq"]) == ("offline", "shut-down", 1)
    async with listening(broker.port) as later:
        await until(lambda: later.of("status"))
    assert later.messages[0][2] is True
    assert later.of("status")[0]["cause"] == "shut-down"


async def test_latest_is_retained_after_each_record(broker: DemoBroker) -> None:
    outbox = MemoryOutbox()
    outbox.add("record", RECORD)
    outbox.add("record", {**RECORD, "run_id": "r2"})
    async with listening(broker.port) as heard, running(publisher(broker.port, outbox)):
        await until(lambda: len(heard.of("record")) == 2 and len(heard.of("latest")) == 3)
    async with listening(broker.port) as later:
        await until(lambda: later.of("latest"))
    assert later.of("latest")[0]["run_id"] == "r2"
    assert later.of("latest")[0]["seq"] == 2


async def test_late_messages_are_marked_historical(broker: DemoBroker) -> None:
    outbox = MemoryOutbox()
    outbox.add("event", EVENT, created_at="2026-01-01T00:00:00.000Z")
    outbox.add("event", EVENT)
    async with listening(broker.port) as heard, running(publisher(broker.port, outbox)):
        await until(lambda: len(heard.of("event")) == 2)
    assert [event["historical"] for event in heard.of("event")] == [True, False]


@pytest.mark.full
async def test_live_is_not_delayed_by_the_backlog(broker: DemoBroker) -> None:
    """At most 50 ms later than it is due while a backlog drains, measured at a subscriber."""
    outbox = MemoryOutbox()
    for _ in range(6000):
        outbox.add("event", EVENT)
    subject = publisher(broker.port, outbox)
    async with listening(broker.port, "lastgrain/v1/lab/a1/live") as heard, running(subject):
        stop = asyncio.get_running_loop().time() + 3.3
        while asyncio.get_running_loop().time() < stop:
            subject.set_live({"utc": "2026-01-01T00:00:00.000Z", "state": "sieving", "mass_g": 1.0})
            await asyncio.sleep(0.01)
    drained = 6000 - (await outbox.waiting())[0]
    gaps = [b - a for a, b in zip(heard.at_s, heard.at_s[1:], strict=False)]
    assert drained > 500, "the backlog did not drain beside the live messages"
    assert len(heard.at_s) >= 3
    assert max(gaps) < LIVE_GAP_S + 0.05
    assert min(gaps) > LIVE_GAP_S - 0.05
