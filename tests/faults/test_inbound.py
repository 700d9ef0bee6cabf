"""Whatever a broker sends, subscribed or not: the publisher goes on publishing and answers with nothing else."""

from __future__ import annotations

import asyncio
import inspect
import logging

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.backoff import RetryRules
from logger.publish.client import open_link
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from tests.faults.test_security import SUBSCRIBE, unasked
from tests.publish.listener import running, until
from tests.publish.memory_outbox import MemoryOutbox, WallClock
from tests.publish.raw_broker import raw_broker
from tests.publish.samples import EVENT

FAST = RetryRules(first_s=0.02, cap_s=0.05, slow_s=0.3, most_per_minute=500)
TOPICS = st.sampled_from(["lastgrain/v1/lab/a1/command", "lastgrain/v1/lab/a1/status", "$SYS/x", "a"])
PUBACK, PINGREQ = 4, 12


async def one(topic: str, payload: bytes, retain: bool, raw: bytes) -> None:
    outbox = MemoryOutbox()
    outbox.add("event", EVENT)
    async with raw_broker() as broker:
        made = BrokerSettings(host="127.0.0.1", port=broker.port, client_id="in", insecure=True)
        async with running(Publisher(made, "lab", "a1", outbox, WallClock(), rules=FAST)):
            await until(lambda: len(broker.of("event")) == 1)
            for writer in broker._writers:
                writer.write(unasked(topic, payload, retain) + raw)
            await asyncio.sleep(0.02)
            outbox.add("event", EVENT)
            await until(lambda: len(broker.of("event")) >= 2, timeout_s=15.0)
        assert SUBSCRIBE not in broker.other_packets
        assert set(broker.other_packets) <= {PUBACK, PINGREQ}


INBOUND = (TOPICS, st.binary(max_size=300), st.booleans(), st.just(b"") | st.binary(min_size=1, max_size=20))


@pytest.mark.full
@settings(deadline=None, max_examples=60)
@given(*INBOUND)
def test_any_message_and_any_bytes_change_nothing(
    topic: str, payload: bytes, retain: bool, raw: bytes
) -> None:
    asyncio.run(one(topic, payload, retain, raw))


@pytest.mark.asyncio
async def test_unasked_messages_are_counted_and_not_kept(caplog: pytest.LogCaptureFixture) -> None:
    """A thousand of 10 kB: kept for a reader who never comes they would fill the memory in the end."""
    caplog.set_level(logging.WARNING)
    async with raw_broker() as broker:
        made = BrokerSettings(host="127.0.0.1", port=broker.port, client_id="in", insecure=True)
        async with open_link(made) as link:
            for _ in range(1_000):
                broker._writers[0].write(unasked("a", b"x" * 10_000, retain=True))
            await until(lambda: link._client.unasked == 1_000)
            assert link._client._queue.qsize() == 0
    assert caplog.text.count("nobody asked for") == 2, "once when it begins, once when the link ends"


def test_the_publisher_is_given_nothing_that_could_move_a_run_or_an_instrument() -> None:
    """What it knows is in its signature: settings, names, the outbox and the time."""
    known = list(inspect.signature(Publisher.__init__).parameters)
    assert known == ["self", "settings", "site", "bench", "outbox", "clock", "rules"]
    senders = {name for name in dir(Publisher) if not name.startswith("_")}
    assert senders == {"run", "set_live", "view"}
