"""A backlog of days in the real outbox: it goes out in order and whole, and is not held in memory."""

from __future__ import annotations

import asyncio
import resource
from pathlib import Path
from typing import Any

import pytest

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from logger.store.outbox import SqliteOutbox
from logger.store.outbox_rows import add_message
from tests.publish.listener import running, until
from tests.publish.memory_outbox import WallClock
from tests.publish.raw_broker import RawBroker, raw_broker
from tests.publish.samples import EVENT
from tests.store.quick_runs import open_journal

pytestmark = pytest.mark.asyncio
MADE = "2026-03-02T08:00:00.000Z"


def memory_kb() -> int:
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1])
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


@pytest.mark.parametrize(
    "count",
    [
        300,
        pytest.param(5_000, marks=pytest.mark.full),
        pytest.param(200_000, marks=pytest.mark.soak),
    ],
)
async def test_a_backlog_drains_in_order_and_whole(count: int, tmp_path: Path) -> None:
    journal = open_journal(tmp_path / "s.sqlite")
    ids = UuidV7()

    def fill(connection: Any) -> None:
        for place in range(count):
            body = EVENT | {"data": {"place": place}}
            add_message(connection, ids.new_id(), "event", "r1", MADE, body)

    await asyncio.wrap_future(journal.writer.submit(fill))
    outbox = SqliteOutbox(journal.writer, utc_now)
    seen: list[tuple[int, bool, int]] = []

    def answer(topic: str, payload: bytes) -> int:
        *_, (_, body) = broker.published
        broker.published.clear()
        if topic.endswith("/event"):
            seen.append((body["seq"], body["historical"], body["data"]["place"]))
        return 0

    async with raw_broker(RawBroker(answer=answer)) as broker:
        settings = BrokerSettings(host="127.0.0.1", port=broker.port, client_id="backlog", insecure=True)
        subject = Publisher(settings, "lab", "a1", outbox, WallClock())
        before_kb = memory_kb()
        async with running(subject):
            await until(lambda: len(seen) == count, timeout_s=60 + count / 100)
            await until(lambda: subject.view().waiting == 0)
        grown_kb = memory_kb() - before_kb
    await asyncio.to_thread(journal.close)
    assert [seq for seq, _, _ in seen] == list(range(1, count + 1))
    assert [place for *_, place in seen] == list(range(count))
    assert all(historical for _, historical, _ in seen), "a consumer can tell late data from new"
    assert grown_kb < 40_000 + count // 10
