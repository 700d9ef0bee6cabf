"""A restore on trial: the backup becomes a store in a scratch folder, and is held against the live one."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from logger.store.backup import Copy, restore
from logger.store.batches import head
from logger.store.errors import StoreError
from logger.store.gaps import hash_at
from logger.store.history import reading
from logger.store.opening import open_store
from logger.store.register import register_head

MOST_FAULTS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Drilled:
    """What came out. `runs` and `records` are in the backup; the `newer_` ones came after it, or are missing."""

    copy: Copy
    runs: int
    records: int
    newer_runs: int
    newer_records: int
    faults: tuple[str, ...]


def drill(live: Path, copy: Path, scratch: Path, utc: Callable[[], str]) -> Drilled:
    """Restore `copy` into the folder `scratch` (made, and removed at the end), and compare. The live store is only
    read. Raises StoreError when the backup cannot be restored at all."""
    scratch.mkdir(mode=0o700)
    try:
        store = scratch / live.name
        restored, _ = restore(store, copy, utc)
        open_store(store, utc).connection.close()
        with reading(store) as trial, reading(live) as now:
            faults = tuple(fault for _, fault in zip(range(MOST_FAULTS), _faults(trial, now), strict=False))
            before, after = _counts(trial), _counts(now)
    finally:
        with contextlib.suppress(OSError):
            shutil.rmtree(scratch)
    return Drilled(
        copy=restored,
        runs=before[0],
        records=before[1],
        newer_runs=after[0] - before[0],
        newer_records=after[1] - before[1],
        faults=faults,
    )


def _counts(connection: sqlite3.Connection) -> tuple[int, int]:
    row = connection.execute("SELECT (SELECT count(*) FROM run), (SELECT count(*) FROM record)").fetchone()
    return int(row[0]), int(row[1])


def _faults(trial: sqlite3.Connection, now: sqlite3.Connection) -> Iterator[str]:
    """Where the live store no longer has what the backup has."""
    found = head(trial)
    if found.batch and hash_at(now, found.batch) != found.sha256:
        yield f"batch {found.batch}, the backup's head, is not in the live store as it is in the backup"
    entry, sha256 = register_head(trial)
    known = now.execute("SELECT hash FROM register WHERE seq = ?", (entry,)).fetchone()
    if entry and (known is None or known[0] != sha256):
        yield f"entry {entry} of the register is not in the live store as it is in the backup"
    for run_id, revision, body in trial.execute("SELECT run_id, revision, body FROM record ORDER BY rowid"):
        row = now.execute(
            "SELECT body FROM record WHERE run_id = ? AND revision = ?", (run_id, revision)
        ).fetchone()
        if row is None or row[0] != body:
            yield f"revision {revision} of the record of run {run_id} is not in the live store as in the backup"


def drill_words(name: str, done: Drilled) -> str:
    """What came out, for the register: at most 200 characters with a usual file name."""
    newer = f"{done.newer_runs} runs and {done.newer_records} records are newer"
    found = f"{done.runs} runs and {done.records} records restored and verified"
    return f"{name[:60]}: {found}; {newer}; head {done.copy.head.batch}"


def require_sound(done: Drilled) -> None:
    """Raises StoreError naming what differs."""
    if done.faults:
        raise StoreError(
            f"The drill failed: {'; '.join(done.faults)}. Keep both files and find out which one was changed "
            "(`lastgrain runs verify`)."
        )
