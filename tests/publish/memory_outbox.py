"""The outbox port in memory: for tests, and the yardstick of the contract suite."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from logger.core.ports import MessageKind, OutboxItem
from logger.core.run.plan import canonical_json


def utc_now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class WallClock:
    """Real time, as the publisher asks for it."""

    def utc(self) -> str:
        return utc_now()


@dataclass
class _Slot:
    item: OutboxItem
    state: str = "waiting"
    reason: str = ""


class MemoryOutbox:
    """Everything in a dict, in order of seq."""

    def __init__(self) -> None:
        self.slots: dict[int, _Slot] = {}
        self._added = asyncio.Event()

    def add(self, kind: MessageKind, body: dict[str, Any], created_at: str | None = None) -> OutboxItem:
        seq = len(self.slots) + 1
        item = OutboxItem(
            seq=seq,
            message_id=f"00000000-0000-7000-8000-{seq:012d}",
            kind=kind,
            created_at=created_at or utc_now(),
            body=body,
            attempts=0,
        )
        self.slots[seq] = _Slot(item)
        self._added.set()
        return item

    def _in_state(self, state: str) -> list[_Slot]:
        return [slot for slot in self.slots.values() if slot.state == state]

    @property
    def reasons(self) -> dict[int, str]:
        """Why which messages were set aside."""
        return {slot.item.seq: slot.reason for slot in self._in_state("aside")}

    async def unsent(self, most: int, most_bytes: int) -> list[OutboxItem]:
        items = [slot.item for slot in self._in_state("waiting")[:most]]
        ends = list(itertools.accumulate(len(canonical_json(item.body).encode()) for item in items))
        return items[: max(1, sum(end <= most_bytes for end in ends))]

    async def mark_sent(self, seqs: Sequence[int]) -> None:
        for seq in seqs:
            self.slots[seq].state = "sent"

    async def note_failure(self, seq: int, reason: str) -> None:
        slot = self.slots[seq]
        slot.item = replace(slot.item, attempts=slot.item.attempts + 1)
        slot.reason = reason

    async def set_aside(self, seq: int, reason: str) -> None:
        self.slots[seq].state, self.slots[seq].reason = "aside", reason

    async def waiting(self) -> tuple[int, int]:
        return len(self._in_state("waiting")), len(self._in_state("aside"))

    async def wait_for_more(self, timeout_s: float) -> None:
        self._added.clear()
        try:
            await asyncio.wait_for(self._added.wait(), timeout_s)
        except TimeoutError:
            return

    async def last_seq(self) -> int:
        return max(self.slots, default=0)

    async def newest_record(self) -> OutboxItem | None:
        records = [slot.item for slot in self.slots.values() if slot.item.kind == "record"]
        if not records:
            return None
        newest_run = list(dict.fromkeys(item.body["run_id"] for item in records))[-1]
        return [item for item in records if item.body["run_id"] == newest_run][-1]
