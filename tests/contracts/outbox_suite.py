"""What every outbox must do, whatever it is made of. One suite per port, run on each implementation.

Use it by subclassing:

    class TestMyOutbox(OutboxSuite):
        @pytest.fixture
        def box(self, tmp_path: Path) -> Iterator[OutboxUnderTest]:
            ...
            yield OutboxUnderTest(outbox=mine, add=add_one, reopen=close_and_open_again)
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

import pytest

from logger.core.ports import MessageKind, Outbox, OutboxItem

EVENT = {"kind": "noted", "run_id": "r1"}


def record_of(run_id: str, revision: int = 1) -> dict[str, Any]:
    return {"run_id": run_id, "revision": revision, "review": "unreviewed", "outcome": "endpoint"}


@dataclass
class OutboxUnderTest:
    """`add` queues one message (kind, body) and returns when it would survive a crash. `reopen` gives the
    outbox as a restarted program finds it; None when the implementation keeps nothing."""

    outbox: Outbox
    add: Callable[[MessageKind, dict[str, Any]], Awaitable[None]]
    reopen: Callable[[], Awaitable[Outbox]] | None = None


async def drained(outbox: Outbox) -> list[OutboxItem]:
    """Everything that waits, marked sent one by one."""
    items = []
    while (item := await oldest(outbox)) is not None:
        items.append(item)
        await outbox.mark_sent([item.seq])
    return items


async def oldest(outbox: Outbox) -> OutboxItem | None:
    """What goes out next."""
    return next(iter(await outbox.unsent(1, 0)), None)


@pytest.mark.asyncio
class OutboxSuite:
    """Subclass as Test... with a fixture `box`."""

    async def test_empty(self, box: OutboxUnderTest) -> None:
        assert await oldest(box.outbox) is None
        assert await box.outbox.waiting() == (0, 0)
        assert await box.outbox.last_seq() == 0
        assert await box.outbox.newest_record() is None

    async def test_oldest_first_numbered_without_gaps_over_all_kinds(self, box: OutboxUnderTest) -> None:
        kinds: list[MessageKind] = ["event", "record", "readings", "event"]
        for kind in kinds:
            await box.add(kind, record_of("r1") if kind == "record" else EVENT)
        assert await box.outbox.last_seq() == 4
        items = await drained(box.outbox)
        assert [item.seq for item in items] == [1, 2, 3, 4]
        assert [item.kind for item in items] == kinds
        assert len({item.message_id for item in items}) == 4

    async def test_body_comes_back_unchanged(self, box: OutboxUnderTest) -> None:
        body = {
            "run_id": "r1",
            "text": "µm [/] =1 \u202e",
            "x": 0.1,
            "n": None,
            "deep": {"list": [1, 2.5, True]},
        }
        await box.add("event", body)
        item = await oldest(box.outbox)
        assert item is not None
        assert item.body == body

    async def test_looking_does_not_take(self, box: OutboxUnderTest) -> None:
        await box.add("event", EVENT)
        assert await oldest(box.outbox) == await oldest(box.outbox)
        assert await box.outbox.waiting() == (1, 0)

    async def test_several_are_given_in_order_within_both_bounds(self, box: OutboxUnderTest) -> None:
        body = {"run_id": "r1", "text": "µ" * 500}
        size = len('{"run_id":"r1","text":""}') + 1000
        for _ in range(5):
            await box.add("event", body)
        await box.outbox.set_aside(2, "too large")

        async def given(most: int, most_bytes: int) -> list[int]:
            return [item.seq for item in await box.outbox.unsent(most, most_bytes)]

        assert await given(9, 10 * size) == [1, 3, 4, 5]
        assert await given(2, 10 * size) == [1, 3]
        assert await given(9, 3 * size) == [1, 3, 4]
        assert await given(9, 3 * size - 1) == [1, 3]
        assert await given(9, size - 1) == [1], "the oldest, whatever its size"

    async def test_several_are_marked_together(self, box: OutboxUnderTest) -> None:
        for _ in range(4):
            await box.add("event", EVENT)
        await box.outbox.mark_sent([1, 2, 4])
        assert [item.seq for item in await box.outbox.unsent(9, 10_000)] == [3]
        await box.outbox.mark_sent([])
        assert await box.outbox.waiting() == (1, 0)

    async def test_a_failure_keeps_the_message_and_is_counted(self, box: OutboxUnderTest) -> None:
        await box.add("event", EVENT)
        await box.add("event", EVENT)
        await box.outbox.note_failure(1, "link lost")
        await box.outbox.note_failure(1, "link lost")
        item = await oldest(box.outbox)
        assert item is not None
        assert (item.seq, item.attempts) == (1, 2)
        assert await box.outbox.waiting() == (2, 0)

    async def test_set_aside_lets_the_next_one_through_and_is_counted(self, box: OutboxUnderTest) -> None:
        await box.add("event", EVENT)
        await box.add("event", EVENT)
        await box.outbox.set_aside(1, "too large")
        assert await box.outbox.waiting() == (1, 1)
        assert [item.seq for item in await drained(box.outbox)] == [2]
        assert await box.outbox.waiting() == (0, 1)

    async def test_seq_is_never_used_again(self, box: OutboxUnderTest) -> None:
        await box.add("event", EVENT)
        await drained(box.outbox)
        await box.add("event", EVENT)
        await box.outbox.set_aside(2, "too large")
        await box.add("event", EVENT)
        assert [item.seq for item in await drained(box.outbox)] == [3]
        assert await box.outbox.last_seq() == 3

    async def test_marking_twice_changes_nothing(self, box: OutboxUnderTest) -> None:
        """A duplicate PUBACK, or a crash between PUBACK and mark."""
        await box.add("event", EVENT)
        await box.add("event", EVENT)
        await box.outbox.mark_sent([1])
        await box.outbox.mark_sent([1])
        assert await box.outbox.waiting() == (1, 0)

    async def test_newest_record_is_found_sent_or_not(self, box: OutboxUnderTest) -> None:
        await box.add("record", record_of("r1"))
        await box.add("record", record_of("r2"))
        await box.add("event", EVENT)
        before = await box.outbox.newest_record()
        await drained(box.outbox)
        after = await box.outbox.newest_record()
        assert before is not None
        assert after is not None
        assert (before.seq, before.body["run_id"]) == (after.seq, after.body["run_id"]) == (2, "r2")

    async def test_a_correction_of_an_older_run_is_not_the_newest_record(self, box: OutboxUnderTest) -> None:
        """The mill is set by the newest test, whatever is signed or corrected meanwhile."""
        await box.add("record", record_of("r1"))
        await box.add("record", record_of("r2"))
        await box.add("record", record_of("r1", revision=2))
        newest = await box.outbox.newest_record()
        assert newest is not None
        assert (newest.seq, newest.body["run_id"]) == (2, "r2")
        await box.add("record", record_of("r2", revision=2))
        newest = await box.outbox.newest_record()
        assert newest is not None
        assert (newest.seq, newest.body["revision"]) == (4, 2)

    async def test_waiting_for_more_ends_when_something_is_added(self, box: OutboxUnderTest) -> None:
        waiter = asyncio.create_task(box.outbox.wait_for_more(30.0))
        await asyncio.sleep(0.05)
        assert not waiter.done()
        await box.add("event", EVENT)
        await asyncio.wait_for(waiter, 5.0)

    async def test_waiting_for_more_ends_after_its_time(self, box: OutboxUnderTest) -> None:
        await asyncio.wait_for(box.outbox.wait_for_more(0.02), 5.0)

    async def test_all_of_it_survives_a_restart(self, box: OutboxUnderTest) -> None:
        if box.reopen is None:
            pytest.skip("this outbox keeps nothing over a restart, by design")
        for run_id in ("r1", "r2", "r3"):
            await box.add("record", record_of(run_id))
        before = await oldest(box.outbox)
        await box.outbox.mark_sent([1])
        await box.outbox.set_aside(2, "too large")
        await box.outbox.note_failure(3, "link lost")
        again = await box.reopen()
        item = await oldest(again)
        assert before is not None
        assert item is not None
        assert (item.seq, item.attempts, item.body["run_id"]) == (3, 1, "r3")
        assert item.message_id != before.message_id
        assert await again.waiting() == (1, 1)
        assert await again.last_seq() == 3
