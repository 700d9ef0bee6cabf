"""What the core and the service ask of the outside. Adapters live elsewhere and are wired by the app."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from logger.core.correction import CorrectionFactor
from logger.core.readings import Reading
from logger.core.record import ChainHead, Record
from logger.core.register.events import RegisterEvent
from logger.core.register.look import RegisterLook
from logger.core.register.people import Person
from logger.core.register.state import RegisterState
from logger.core.review_steps import SendAgain, Standing, Step
from logger.core.run.events import Event
from logger.core.run.repeats import EarlierResult
from logger.core.run_history import RunHistory
from logger.core.run_list import RunFilter, RunPage
from logger.core.snapshot import BrokerView

MessageKind = Literal["event", "record", "readings"]


class Clock(Protocol):
    """The bench clock: monotonic, scaled with the simulated rig, and the wall time beside it."""

    def now_ns(self) -> int:
        """Nanoseconds of bench time from an arbitrary start; never falls."""
        ...

    def utc(self) -> str:
        """Wall time as ISO 8601 in UTC with milliseconds and a Z."""
        ...

    def suspended_s(self) -> float:
        """Seconds that the host has slept since the clock was made."""
        ...

    def wall_offset_s(self) -> float:
        """Wall time less unscaled monotonic time, s; a jump is a stepped wall clock."""
        ...


class IdSource(Protocol):
    """Where run ids come from, injected so that a replayed run gets the same ones."""

    def new_id(self) -> str:
        """A UUID (RFC 9562, version 7) in text form."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxItem:
    """One message for the plant. `seq` is gap-free per bench; `body` is the JSON object without envelope,
    empty where the store no longer has it as it was written: such a message can only be set aside."""

    seq: int
    message_id: str
    kind: MessageKind
    created_at: str
    body: dict[str, Any]
    attempts: int


class RunJournal(Protocol):
    """Keeps events and readings durable and chained. Futures resolve once their work is on the disk."""

    def start_run(self, run_id: str, planned: Event) -> Future[int]:
        """Enter a run with its first event; gives its number on this bench."""
        ...

    def add(self, run_id: str, events: Sequence[Event], readings: Sequence[Reading] = ()) -> None:
        """Hand over without waiting; durable within 0.25 s."""
        ...

    def issue_record(self, run_id: str, build: Callable[[ChainHead], Record]) -> Future[dict[str, Any]]:
        """Keep, queue and chain the record that `build` makes of the journal's head."""
        ...

    def archive(self, run_id: str) -> Future[None]:
        """Pack the readings of a finished run."""
        ...

    def publish(self, run_id: str, kind: MessageKind, body: dict[str, Any]) -> Future[None]:
        """Queue a message for the plant that is no part of the journal."""
        ...


class Register(Protocol):
    """What changes in use: sieves and checks, as entries that are kept and chained."""

    def look(self, sieve_id: str, method_id: str, revision: int) -> RegisterLook:
        """The register and what the history says of sieve and method. Blocks for a short read.

        Raises Refused when it cannot be read.
        """
        ...

    def earlier(self, sample_id: str, lot: str, method_id: str) -> tuple[EarlierResult, ...]:
        """What was found before of this sample by this method, oldest first, in the newest revisions; runs that were
        corrected to another sample since are among them.

        Blocks for a short read. Raises Refused when it cannot be read.
        """
        ...

    def state(self) -> RegisterState:
        """The register as it stands. Blocks for a short read. Raises Refused when it cannot be read."""
        ...

    def enter(self, make: Callable[[RegisterState], RegisterEvent]) -> Future[RegisterEvent]:
        """Keep the entry that `make` makes of the state as it is.

        The future fails with what `make` raises, and with Refused when the store cannot be written.
        """
        ...


class People(Protocol):
    """Passwords of registered people: compared and kept, never given out."""

    def check(self, person_id: str, password: str) -> Person:
        """The active person of this id. Blocks, so never on the event loop.

        Raises Refused, with a sentence, for a wrong password, for no password at all, and while the person has
        to wait after wrong ones.
        """
        ...

    def set_password(
        self, password: str, make: Callable[[RegisterState, str], RegisterEvent]
    ) -> Future[RegisterEvent]:
        """Keep a hash of it together with the entry that `make` makes of the state and the hash's
        fingerprint. Blocks for the hashing. The future fails as that of `Register.enter`."""
        ...


class Reviews(Protocol):
    """Records of ended runs, and the revisions that people make of them."""

    def look(self, which: str) -> Standing:
        """A run by its number, or by the beginning of its id. Blocks, so never on the event loop.

        Raises Refused when there is none, or it has no record yet.
        """
        ...

    def append(self, seen: Standing, step: Step) -> Future[dict[str, Any]]:
        """Keep the revision that `step` makes of what was seen, with its events, and queue it for the plant:
        all of it or nothing. The future fails with Refused when the run is no longer as it was seen."""
        ...

    def send_again(
        self, wanted: SendAgain, make: Callable[[RegisterState, str, int], RegisterEvent]
    ) -> Future[RegisterEvent]:
        """Queue what was sent once more, under the same numbers and ids, and keep the entry that `make` makes
        of the state, what it is in words, and how many messages. It fails as that of `Register.enter`."""
        ...


class HistoryReader(Protocol):
    """What is kept, for people who look back. Each call blocks for a read, so never on the event loop.

    Raises Refused, with a sentence, for what cannot be read or is not there.
    """

    def list_runs(self, wanted: RunFilter, limit: int, before: int | None = None) -> RunPage:
        """The newest `limit` runs that fit, of those with a number below `before`."""
        ...

    def read_run(self, which: str) -> RunHistory:
        """One run by its number, or by the beginning of its id."""
        ...

    def read_readings(self, run_id: str, most: int) -> list[Reading]:
        """Readings of a run in order of arrival, evenly thinned to about `most` of each instrument."""
        ...

    def reference_checks(self) -> tuple[CorrectionFactor, ...]:
        """All checks of sieves with a reference powder, as entered."""
        ...


class PlantLink(Protocol):
    """The way to the broker, as the service sees it."""

    def view(self) -> BrokerView:
        """How it stands, for the screen."""
        ...

    def set_live(self, values: dict[str, Any]) -> None:
        """The newest values for watchers at the plant; not kept."""
        ...


class Outbox(Protocol):
    """Messages in order, kept until the broker has acknowledged them. A message ends accepted,
    set aside (never retried, shown to a person), or it is kept."""

    async def unsent(self, most: int, most_bytes: int) -> list[OutboxItem]:
        """The oldest messages that are neither sent nor set aside, oldest first, at most `most`, and no more
        than fit into `most_bytes` of stored text; the oldest always, whatever its size."""
        ...

    async def mark_sent(self, seqs: Sequence[int]) -> None:
        """The broker acknowledged these; all are kept as sent, or none is."""
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


class PermitLine(Protocol):
    """The way to the external relay that lets the suction run. It can withdraw and permit, never start."""

    def set(self, granted: bool) -> None:
        """What is wanted now; a permit lapses unless it is said again within two seconds."""
        ...

    def answered_age_s(self) -> float | None:
        """Real seconds since the relay last answered; None before the first time."""
        ...


class Instrument(Protocol):
    """A reading source that looks after its own link."""

    async def run(self) -> None:
        """Reads until cancelled; reports readings and link changes to the callbacks it was made with."""
        ...
