"""A program killed after the broker acknowledged and before the store knew: sent again, to be told as the same."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import Any

import pytest

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.publish import session
from logger.publish.sender import Publisher
from logger.publish.settings import BrokerSettings
from logger.store.outbox import SqliteOutbox
from logger.store.outbox_rows import add_message
from tests.publish.listener import running, until
from tests.publish.memory_outbox import WallClock
from tests.publish.raw_broker import RawBroker, raw_broker
from tests.publish.samples import EVENT
from tests.store.quick_runs import open_journal

COUNT, KILLED_AT = 10, 7
NEVER_S = 60.0


def _publisher(port: int, outbox: SqliteOutbox) -> Publisher:
    return Publisher(
        BrokerSettings(host="127.0.0.1", port=port, client_id="bench", insecure=True),
        "lab",
        "a1",
        outbox,
        WallClock(),
    )


async def _send_without_marking(path: Path, port: int) -> None:
    """The program that is killed: its store is told too late, however slow the machine is."""
    session.MARK_S = NEVER_S
    journal = open_journal(path)
    await _publisher(port, SqliteOutbox(journal.writer, utc_now)).run()


def _fill(connection: Any) -> None:
    ids = UuidV7()
    for _ in range(COUNT):
        add_message(connection, ids.new_id(), "event", "r1", utc_now(), EVENT)


@pytest.mark.asyncio
async def test_killed_between_acknowledgement_and_mark(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    journal = open_journal(path)
    await asyncio.wrap_future(journal.writer.submit(_fill))
    await asyncio.to_thread(journal.close)

    def answer(topic: str, payload: bytes) -> int:
        if len(broker.of("event")) == KILLED_AT and program.returncode is None:
            program.kill()
        return 0

    async with raw_broker(RawBroker(answer=answer)) as broker:
        arguments = ("-m", __name__, str(path), str(broker.port))
        program = await asyncio.create_subprocess_exec(sys.executable, *arguments)
        try:
            await asyncio.wait_for(program.wait(), 30.0)
        finally:
            if program.returncode is None:
                program.kill()
        before = [(message["seq"], message["message_id"]) for message in broker.of("event")]
        assert [seq for seq, _ in before] == list(range(1, KILLED_AT + 1))

        journal = open_journal(path)
        outbox = SqliteOutbox(journal.writer, utc_now)
        async with running(_publisher(broker.port, outbox)):
            await until(lambda: len(broker.of("event")) == KILLED_AT + COUNT)
        again = [(message["seq"], message["message_id"]) for message in broker.of("event")][KILLED_AT:]
        assert await outbox.waiting() == (0, 0)
        await asyncio.to_thread(journal.close)
    assert [seq for seq, _ in again] == list(range(1, COUNT + 1)), "in order, without a gap"
    assert again[:KILLED_AT] == before, "under the same numbers and ids"


if __name__ == "__main__":
    asyncio.run(_send_without_marking(Path(sys.argv[1]), int(sys.argv[2])))
