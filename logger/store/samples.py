"""Which runs belong to a sample."""

from __future__ import annotations

import sqlite3

from logger.store.run_lines import LINES, line_of

# Any revision finds a run; its newest one decides. The expression is that of the index `record_sample`.
_OF_SAMPLE = f"""{LINES} WHERE run.sample_id = ?1 OR run.run_id IN (
  SELECT run_id FROM record WHERE CASE WHEN json_valid(body) THEN json_extract(body, '$.sample.sample_id') END = ?1
) ORDER BY run.number"""


def runs_of_sample(connection: sqlite3.Connection, sample_id: str, lot: str | None = None) -> list[str]:
    """Ids of the runs of a sample (of one lot, when given) as their newest records name it, oldest first."""
    rows = connection.execute(_OF_SAMPLE, (sample_id,))
    found = [line_of(row) for row in rows]
    return [line.run_id for line in found if line.sample_id == sample_id and (lot is None or line.lot == lot)]


def runs_of_method(connection: sqlite3.Connection, method_id: str, revision: int | None = None) -> list[str]:
    """Ids of the runs by a method (in one revision, when given), oldest first."""
    rows = connection.execute(
        "SELECT run_id FROM run WHERE method_id = ?1 AND (?2 IS NULL OR method_revision = ?2) ORDER BY number",
        (method_id, revision),
    )
    return [run_id for (run_id,) in rows]


def newest_records(connection: sqlite3.Connection, limit: int | None = None) -> list[str]:
    """Texts of the newest revision of every record, in order of the runs; the newest `limit` of them."""
    rows = connection.execute(
        "SELECT record.body FROM run JOIN record ON record.run_id = run.run_id AND record.revision = "
        "(SELECT max(revision) FROM record WHERE run_id = run.run_id) ORDER BY run.number DESC LIMIT ?",
        (-1 if limit is None else limit,),
    )
    return [body for (body,) in rows][::-1]


def runs_between(connection: sqlite3.Connection, since: str, until: str) -> list[str]:
    """Ids of the runs that began from `since` to before `until` (UTC as in records), oldest first."""
    rows = connection.execute(
        "SELECT run_id FROM run WHERE started_at >= ? AND started_at < ? ORDER BY number", (since, until)
    )
    return [run_id for (run_id,) in rows]
