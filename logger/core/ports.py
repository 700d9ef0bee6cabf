"""What the core and the service ask of the outside. Adapters live elsewhere and are wired by the app."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal, Protocol


class Clock(Protocol):
    """The bench clock: monotonic, scaled with the simulated rig, and the wall time beside it."""

    def now_ns(self) -> int:
        """Nanoseconds of bench time from an arbitrary start; never falls."""
        ...

    def utc(self) -> str:
        """Wall time as ISO 8601 in UTC with milliseconds and a Z."""
        ...


class IdSource(Protocol):
    """Where run ids come from, injected so that a replayed run gets the same ones."""

    def new_id(self) -> str:
        """A UUID (RFC 9562, version 7) in text form."""
        ...


MessageKind = Literal["event", "record", "readings"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxItem:
    """One message for the plant. `seq` is gap-free per bench; `body` is the JSON object without envelope."""

    seq: int
    message_id: str
    kind: MessageKind
    created_at: str
    body: dict[str, Any]
    attempts: int


class Outbox(Protocol):
    """Messages in order, kept until the broker has acknowledged them. A message ends accepted,
    set aside (never retried, shown to a person), or it is kept."""

    async def next_unsent(self) -> OutboxItem | None:
        """The oldest message that is neither sent nor set aside."""
        ...

    async def mark_sent(self, seq: int) -> None:
        """The broker acknowledged it."""
        ...

    async def note_failure(self, seq: int, reason: str) -> None:
        """One more attempt failed; the message is kept."""
        ...

    async def set_aside(self, seq: int, reason: str) -> None:
        """The broker will never take it; the queue goes on with the next."""
        ...

    async def waiting(self) -> tuple[int, int]:
        """How many wait, and how many are set aside."""
        ...

    async def wait_for_more(self, timeout_s: float) -> None:
        """Returns when something was added, or after the time."""
        ...

    async def last_seq(self) -> int:
        """The highest seq ever handed out, 0 before the first."""
        ...

    async def newest_record(self) -> OutboxItem | None:
        """The record of the newest run in its newest revision, sent or not; None before the first."""
        ...


class Instrument(Protocol):
    """A reading source that looks after its own link."""

    async def run(self) -> None:
        """Reads until cancelled; reports readings and link changes to the callbacks it was made with."""
        ...
