"""Messages a second out of a backlog: store, outbox and sender against a bare sequential QoS 1 loop.

The loop publishes the same bytes with the same library to the same broker, waits for each acknowledgement, and keeps
nothing. In turns, in one run.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import tempfile
import time
from pathlib import Path
from typing import Any

import aiomqtt

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from logger.store.journal import Journal
from logger.store.outbox import SqliteOutbox
from logger.store.outbox_rows import add_message
from tests.benchmarks.fleet_parts import template
from tests.publish.memory_outbox import WallClock
from tests.publish.mosquitto import Mosquitto

MESSAGES = 2_000
TURNS = 3
IDS = UuidV7()


def _bodies() -> list[dict[str, Any]]:
    events = template()[0]
    return [events[k % len(events)] | {"run_id": "r"} for k in range(MESSAGES)]


async def ours_s(folder: Path, port: int) -> float:
    """From the sender's start until the outbox is empty."""
    failures: list[Exception] = []
    journal = Journal(folder / "o.sqlite", utc_now, IDS.new_id, failures.append, free_floor_bytes=0)
    outbox = SqliteOutbox(journal.writer, utc_now)

    def fill(connection: Any) -> None:
        for body in _bodies():
            add_message(connection, IDS.new_id(), "event", "r", utc_now(), body)

    await asyncio.wrap_future(journal.writer.submit(fill))
    settings = BrokerSettings(host="127.0.0.1", port=port, client_id="drain", insecure=True)
    publisher = Publisher(settings, "site", "bench", outbox, WallClock())
    start = time.perf_counter()
    sending = asyncio.create_task(publisher.run())
    while (await outbox.waiting())[0]:  # noqa: ASYNC110 - nobody tells when an outbox is empty
        await asyncio.sleep(0.05)
    taken = time.perf_counter() - start
    sending.cancel()
    with contextlib.suppress(asyncio.CancelledError):
        await sending
    await asyncio.to_thread(journal.close)
    return taken


async def bare_s(port: int) -> float:
    """The loop that anybody would write."""
    payloads = [json.dumps(body).encode() for body in _bodies()]
    start = time.perf_counter()
    async with aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V5) as client:
        for payload in payloads:
            await client.publish("site/bench/event", payload, qos=1)
        return time.perf_counter() - start


def measure() -> dict[str, float]:
    """The best of some turns of each. Needs mosquitto."""
    times = []
    for _ in range(TURNS):
        with tempfile.TemporaryDirectory() as folder:
            broker = Mosquitto(Path(folder)).start()
            try:
                times.append(
                    (asyncio.run(ours_s(Path(folder), broker.port)), asyncio.run(bare_s(broker.port)))
                )
            finally:
                broker.kill()
    ours, bare = min(own for own, _ in times), min(other for _, other in times)
    return {
        "messages_per_s": MESSAGES / ours,
        "bare_messages_per_s": MESSAGES / bare,
        "ratio": bare / ours,
        "hour_backlog_s": 420 / (MESSAGES / ours),
    }
