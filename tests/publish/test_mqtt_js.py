"""Outside check: MQTT.js from npm, which nobody here wrote, reads what a bench publishes over mosquitto."""

from __future__ import annotations

import asyncio
import contextlib
import json
import subprocess
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from tests.node.packages import script
from tests.publish.listener import running, until
from tests.publish.memory_outbox import MemoryOutbox
from tests.publish.mosquitto import Mosquitto
from tests.publish.proxy import proxy
from tests.publish.samples import EVENT, LIVE, READINGS, record
from tests.publish.test_real_broker import OPEN, publisher

pytestmark = [pytest.mark.asyncio, pytest.mark.real, pytest.mark.full]

HARD = {
    "sum_g": 0.1 + 0.2,
    "tiny_g": 5e-324,
    "large_g": 1.7976931348623157e308,
    "long_g": 123456789.12345679,
    "count": 2**53 - 1,
}
"""Numbers on which a careless reader or writer of JSON loses digits."""


@contextlib.asynccontextmanager
async def consumer(port: int) -> AsyncIterator[list[dict[str, Any]]]:
    """What MQTT.js heard, in order, from when it had subscribed."""
    command, environment = await asyncio.to_thread(script, "consumer.cjs")
    pipe = subprocess.PIPE
    child = await asyncio.create_subprocess_exec(
        *command, str(port), env=environment, stdin=pipe, stdout=pipe, limit=2**22
    )
    assert child.stdout is not None
    assert child.stdin is not None
    heard: list[dict[str, Any]] = []
    output = child.stdout

    async def collect() -> None:
        async for line in output:
            heard.append(json.loads(line))

    async with asyncio.timeout(20):
        assert await output.readline() == b'"ready"\n'
    collecting = asyncio.create_task(collect())
    try:
        yield heard
    finally:
        child.stdin.close()
        await child.wait()
        await collecting


def of(heard: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    return [message for message in heard if message["topic"] == f"lastgrain/v1/lab/a1/{kind}"]


async def test_every_kind_arrives_as_documented_and_every_number_is_equal(tmp_path: Path) -> None:
    outbox = MemoryOutbox()
    outbox.add("event", EVENT | {"data": HARD, "text": "µm \U0001f9c2 \u202e"})
    outbox.add("readings", READINGS)
    outbox.add("record", record().body())
    with Mosquitto(tmp_path, OPEN) as broker:
        async with consumer(broker.port) as heard, running(publisher(broker.port, outbox)) as publishing:
            await until(lambda: of(heard, "latest"))
            assert not publishing.done()
    event, readings, whole = of(heard, "event")[0], of(heard, "readings")[0], of(heard, "record")[0]
    assert event["body"]["data"] == HARD
    assert event["body"]["text"] == "µm \U0001f9c2 \u202e"
    assert {name: readings["body"][name] for name in READINGS} == READINGS
    assert {name: whole["body"][name] for name in record().body()} == record().body()
    assert [message["body"]["seq"] for message in (event, readings, whole)] == [1, 2, 3]
    for message in heard:
        kind = message["topic"].rsplit("/", 1)[1]
        assert message["contentType"] == "application/json"
        assert message["payloadFormatIndicator"] is True
        assert message["userProperties"] == {"schema": f"lastgrain/{kind}/1"}
        assert message["body"]["schema"] == f"lastgrain/{kind}/1"
        assert message["qos"] == 1


async def test_a_late_consumer_finds_latest_and_status_retained_and_then_the_will(tmp_path: Path) -> None:
    outbox = MemoryOutbox()
    outbox.add("record", record().body())
    with Mosquitto(tmp_path, OPEN) as broker:
        async with proxy(broker.port) as cable:
            bench = publisher(cable.port, outbox)
            async with running(bench):
                await until(lambda: bench.view().state == "up" and bench.view().waiting == 0)
                async with consumer(broker.port) as heard:
                    await until(lambda: of(heard, "latest") and of(heard, "status"))
                    assert [message["retain"] for message in heard] == [True, True]
                    assert of(heard, "latest")[0]["body"]["residue_pct"] == 12.9
                    assert of(heard, "status")[0]["body"]["state"] == "online"
                    bench.set_live(LIVE)
                    await until(lambda: of(heard, "live"))
                    live = of(heard, "live")[0]
                    assert (live["qos"], live["retain"], live["body"]["mass_g"]) == (0, False, 12.34)
                    assert 0 < live["messageExpiryInterval"] <= 10
                    cable.cut()
                    await until(lambda: of(heard, "status")[1:])
                    will = of(heard, "status")[1]
    assert (will["body"]["state"], will["body"]["cause"]) == ("offline", "link-lost")
    assert will["contentType"] == "application/json"
    assert will["userProperties"] == {"schema": "lastgrain/status/1"}
