"""Finishes at the start what a crash left undone: open runs end as interrupted and get their record."""

from __future__ import annotations

from pathlib import Path

from logger.core.record import ChainHead, build_record
from logger.core.run.events import Event, EventKind
from logger.core.run.facts import RunFacts, fold
from logger.core.run.states import ENDED
from logger.store.archive import unpacked_runs
from logger.store.chain import GENESIS
from logger.store.errors import DamagedRunError
from logger.store.history import reading, run_events, runs_without_record
from logger.store.journal import Journal

REASON = "the service ended without closing the run"


def close_open_runs(journal: Journal, path: Path) -> list[str]:
    """Ids of the runs that were closed. Blocks until their records are durable.

    A run whose journal is damaged cannot be closed; it joins the journal's notices and stops nothing else.
    Raises StoreError when the store cannot be written.
    """
    with reading(path) as connection:
        open_runs, unpacked = runs_without_record(connection), unpacked_runs(connection)
    closed = [run_id for run_id in open_runs if _close(journal, path, run_id)]
    for run_id in unpacked:
        journal.archive(run_id)
    return closed


def _close(journal: Journal, path: Path, run_id: str) -> bool:
    try:
        facts, missing = _ended(path, run_id, journal.utc())
    except (DamagedRunError, ValueError, KeyError, IndexError, TypeError) as error:
        journal.notices.append(f"Run {run_id} was left open and cannot be closed: {error}")
        return False
    journal.add(run_id, missing)
    journal.issue_record(run_id, lambda head: build_record(run_id, facts, head)).result()
    journal.archive(run_id)
    return True


def _ended(path: Path, run_id: str, utc: str) -> tuple[RunFacts, list[Event]]:
    """Facts of the ended run, and the event that ends it where there was none."""
    with reading(path) as connection:
        events = run_events(connection, run_id)
    facts = fold(events)
    missing = []
    if facts.state not in ENDED:
        missing = [Event(EventKind.INTERRUPTED, events[-1].at_ns, utc, {"reason": REASON})]
        facts.apply(missing[0])
    build_record(run_id, facts, ChainHead(0, GENESIS)).body()
    return facts, missing
