"""What the start of a shift and the worklist read from the store."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any

from logger.core.register.look import balance_since, sieve_since
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState, fold_register
from logger.core.run.commands import Refused
from logger.core.shift.due import ShiftFacts
from logger.core.worklist.job import RunMade
from logger.store.errors import StoreError
from logger.store.history import reading
from logger.store.register import register_events, runs_since, sieve_runs

BACKUP_NOTE = "last-backup.json"
"""Beside the store: when `lastgrain backup` last made a copy that verified."""

_RUNS = """
SELECT run.number, run.run_id, run.sample_id, run.lot, run.method_id, run.method_revision, run.started_at,
  record.outcome, CASE WHEN json_valid(record.body) THEN json_object(
    'review', json_extract(record.body, '$.review'),
    'sample_id', json_extract(record.body, '$.sample.sample_id'),
    'lot', json_extract(record.body, '$.sample.lot'),
    'sampled_at', json_extract(record.body, '$.sample.sampled_at'),
    'point', json_extract(record.body, '$.sample.point'),
    'aperture_um', json_extract(record.body, '$.aperture_um'),
    'sieve_id', json_extract(record.body, '$.sieve.id'),
    'residue_pct', json_extract(record.body, '$.result.residue_pct'),
    'residue_g', json_extract(record.body, '$.result.residue_g')) END
FROM run LEFT JOIN record ON record.run_id = run.run_id AND record.revision =
  (SELECT max(revision) FROM record AS newest WHERE newest.run_id = run.run_id)
"""
# Started as one of the sample, or corrected to it since; its newest record says whether it still is. The expression
# is that of the index `record_sample`.
_OF_SAMPLE = """
WHERE (run.sample_id = ? OR run.run_id IN (
    SELECT named.run_id FROM record AS named
    WHERE CASE WHEN json_valid(named.body) THEN json_extract(named.body, '$.sample.sample_id') END = ?))
  AND run.method_id = ? AND run.method_revision = ? ORDER BY run.number
"""


class StoreShiftBook:
    """Implements `ShiftBook` over the store's file; each call is a short read of its own."""

    def __init__(self, path: Path, policy: CheckPolicy) -> None:
        self._path, self._policy = path, policy

    def state(self) -> RegisterState:
        """See the port."""
        if not self._path.exists():
            return RegisterState()
        try:
            with reading(self._path) as connection:
                return fold_register(register_events(connection))
        except StoreError as error:
            raise Refused(f"The register cannot be read: {error}") from error

    def facts(self, state: RegisterState) -> ShiftFacts:
        """See the port."""
        if not self._path.exists():
            return ShiftFacts()
        since, part = balance_since(state, self._policy), state.shift.parts[-1:]
        in_use = [name for name, entry in state.sieves.items() if not entry.retired]
        try:
            with reading(self._path) as connection:
                return ShiftFacts(
                    runs_since_balance=0 if since is None else runs_since(connection, since),
                    runs_since_part=runs_since(connection, part[0].utc) if part else 0,
                    sieve_runs={
                        name: sieve_runs(connection, name, sieve_since(state.sieves[name])) for name in in_use
                    },
                    backup_utc=backup_utc(self._path.parent),
                )
        except StoreError as error:
            raise Refused(f"The store cannot be read: {error}") from error

    def count_since(self, utc: str) -> int:
        """See the port."""
        if not self._path.exists():
            return 0
        try:
            with reading(self._path) as connection:
                return runs_since(connection, utc)
        except StoreError as error:
            raise Refused(f"The store cannot be read: {error}") from error

    def runs_since(self, utc: str) -> list[RunMade]:
        """See the port."""
        return self._runs("WHERE run.started_at >= ? ORDER BY run.number", (utc,))

    def runs_of_sample(self, sample_id: str, lot: str, method_id: str, revision: int) -> list[RunMade]:
        """See the port."""
        runs = self._runs(_OF_SAMPLE, (sample_id, sample_id, method_id, revision))
        return [run for run in runs if (run.sample_id, run.lot) == (sample_id, lot)]

    def _runs(self, wanted: str, values: tuple[Any, ...]) -> list[RunMade]:
        if not self._path.exists():
            return []
        try:
            with reading(self._path) as connection:
                return [_run(row) for row in connection.execute(_RUNS + wanted, values)]
        except (StoreError, sqlite3.Error) as error:
            raise Refused(f"The store cannot be read: {error}") from error


def _run(row: tuple[Any, ...]) -> RunMade:
    number, run_id, sample_id, lot, method_id, revision, started_at, outcome, text = row
    found = {} if text is None else json.loads(text)
    return RunMade(
        number=number,
        run_id=run_id,
        sample_id=found.get("sample_id", sample_id),
        lot=found.get("lot", lot),
        sampled_at=found.get("sampled_at") or "",
        method_id=method_id,
        revision=revision,
        started_at=started_at,
        outcome=outcome or "",
        review=found.get("review") or "unreviewed",
        aperture_um=found.get("aperture_um"),
        sieve_id=found.get("sieve_id") or "",
        residue_pct=found.get("residue_pct"),
        residue_g=found.get("residue_g"),
        point=found.get("point") or "",
    )


def note_backup(folder: Path, utc: str, copy: Path) -> None:
    """Keeps when a copy was made. Raises OSError."""
    (folder / BACKUP_NOTE).write_text(json.dumps({"utc": utc, "copy": str(copy)}), encoding="utf-8")


def backup_utc(folder: Path) -> str | None:
    """When the newest backup was made; None when that is not known."""
    try:
        found = json.loads((folder / BACKUP_NOTE).read_text(encoding="utf-8"))["utc"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return found if isinstance(found, str) else None
