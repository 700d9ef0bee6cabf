"""Stores and runs for tests: a real run in virtual time (made once), and short ones of known readings."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from logger.app.clock import utc_now
from logger.app.ids import UuidV7
from logger.core.readings import Channel, Quality, Reading
from logger.core.record import build_record
from logger.core.run.commands import Do
from logger.core.run.events import Event
from logger.core.run.facts import RunFacts, fold
from logger.core.run.states import RunState
from logger.store import history
from logger.store.journal import Journal
from logger.store.verify import Finding, verify
from tests.system.virtual_run import shipped_method, virtual_run

METHOD = "filler-45-interval"


@dataclass(frozen=True, slots=True)
class MadeRun:
    """A run with all that it hands over. The first event is the plan."""

    run_id: str
    events: list[Event]
    readings: list[Reading]

    @property
    def facts(self) -> RunFacts:
        return fold(self.events)


@cache
def real_run() -> MadeRun:
    """The whole demo run through simulated bytes and the real codec: 12,000 readings."""
    run = virtual_run(shipped_method(METHOD))
    run.until(RunState.AWAITING_REVIEW)
    return MadeRun(run.engine.run.plan.run_id, run.events, run.readings)


@cache
def _short(seed: int, end: Do | None) -> MadeRun:
    run = virtual_run(shipped_method(METHOD), seed=seed)
    run.events += run.engine.take_events()
    if end is not None:
        run.do(end, reason="test")
    return MadeRun(run.engine.run.plan.run_id, run.events, [])


def short_run(seed: int, readings: int = 60) -> MadeRun:
    """Planned, some readings, aborted."""
    made = _short(seed, Do.ABORT)
    return MadeRun(made.run_id, made.events, list(itertools.islice(readings_of(seed), readings)))


def open_run(seed: int) -> MadeRun:
    """Planned, and no more."""
    return _short(seed, None)


def reading_of(seed: int, place: int) -> Reading:
    """The same reading for the same place, whoever asks."""
    mass_g = round(300 + seed + place * 0.001, 3)
    return Reading(
        channel=Channel.MASS,
        at_ns=1_000_000_000 + place * 25_000_000 + (place * 7919) % 1000,
        value=mass_g,
        quality=Quality.OK,
        stable=place % 3 != 0,
        resolution=0.001,
        raw=f"S + {mass_g:8.3f} g",
    )


def readings_of(seed: int) -> Iterator[Reading]:
    """Without end."""
    return (reading_of(seed, place) for place in itertools.count())


def open_journal(path: Path, **options: int) -> Journal:
    """A journal that fails loudly."""
    failures: list[Exception] = []
    return Journal(path, utc_now, UuidV7().new_id, on_failure=failures.append, **options)


def keep(journal: Journal, run: MadeRun, batches: int = 12, pack: bool = True) -> None:
    """The whole run into the store, in so many batches, with its record."""
    journal.start_run(run.run_id, run.events[0]).result()
    size = max(1, -(-len(run.readings) // batches))
    events = list(run.events[1:])
    for part in _parts(run.readings, size):
        due = [event for event in events if event.at_ns <= part[-1].at_ns]
        events = events[len(due) :]
        journal.add(run.run_id, due, part)
        journal.flush().result()
    journal.add(run.run_id, events)
    journal.issue_record(run.run_id, lambda head: build_record(run.run_id, run.facts, head)).result()
    if pack:
        journal.archive(run.run_id).result()


def _parts(readings: Sequence[Reading], size: int) -> Iterator[Sequence[Reading]]:
    return (readings[start : start + size] for start in range(0, len(readings), size))


def filled(path: Path, runs: int = 3, pack: bool = True, readings: int = 60) -> Path:
    """A closed store with short runs of the seeds 1, 2, ..."""
    journal = open_journal(path)
    for seed in range(1, runs + 1):
        keep(journal, short_run(seed, readings), pack=pack)
    journal.close()
    return path


def findings(path: Path) -> list[Finding]:
    """What verify says of a store."""
    with history.reading(path) as connection:
        return verify(connection)


def verdicts(path: Path) -> set[str]:
    return {finding.verdict for finding in findings(path)}
