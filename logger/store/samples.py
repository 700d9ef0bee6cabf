"""Which runs belong to a sample."""

from __future__ import annotations

import sqlite3


def runs_of_sample(connection: sqlite3.Connection, sample_id: str, lot: str | None = None) -> list[str]:
    """Ids of the runs of a sample (of one lot, when given), oldest first."""
    rows = connection.execute(
        "SELECT run_id FROM run WHERE sample_id = ?1 AND (?2 IS NULL OR lot = ?2) ORDER BY number",
        (sample_id, lot),
    )
    return [run_id for (run_id,) in rows]


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
