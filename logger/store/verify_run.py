"""Verifies one run without walking the whole chain: its own batches and records, and the places it hangs between.

What lies further off is not looked at: a chain that was rewritten as a whole agrees with itself here as well, and
only a head that was kept elsewhere tells.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator

from logger.core.record import ChainHead
from logger.store.register import unknown_heads
from logger.store.verify import Finding, Walk, end_before


def verify_run(
    connection: sqlite3.Connection, run_id: str, number: int, outside: ChainHead | None = None
) -> list[Finding]:
    """All that is wrong with the run, or one sound finding. `outside`: a head kept elsewhere, of a batch of this run."""
    first, last = _ends(connection, run_id)
    if not first:
        return [Finding("altered", f"Run {number} has no batch: its readings and events are missing.")]
    walk = Walk(connection, set() if outside is None else {outside.batch}, run_id=run_id)
    findings = [
        *walk.findings(),
        *_between(connection, run_id, number, first),
        *_after(connection, run_id, number),
        *_messages(connection, run_id, number),
    ]
    findings += [Finding(walk.missing, text) for text in unknown_heads(connection, run_id)]
    if outside is not None:
        findings += _against(walk, outside, number, first, last)
    if findings:
        return findings
    before, _, _ = end_before(connection, first)
    rests = f"follow batch {before}" if before else "begin the chain"
    text = f"Run {number}: {walk.batches} batches and the record agree with each other and {rests}"
    if outside is None:
        return [Finding("no-outside-head", f"{text}; the chain beyond them was not walked.")]
    return [Finding("whole", f"{text}, and batch {outside.batch} with the head given.")]


def _ends(connection: sqlite3.Connection, run_id: str) -> tuple[int, int]:
    """Numbers of the run's first and last batch; zeros where it has none."""
    row = connection.execute(
        "SELECT min(first), max(last) FROM (SELECT min(seq) AS first, max(seq) AS last FROM batch WHERE run_id = ?1 "
        "UNION ALL SELECT min(first_seq), max(last_seq) FROM stretch WHERE run_id = ?1)",
        (run_id,),
    ).fetchone()
    return row[0] or 0, row[1] or 0


def _between(connection: sqlite3.Connection, run_id: str, number: int, first: int) -> Iterator[Finding]:
    """One run at a time: no batch of another stands between this one's first and that of its first record."""
    head = connection.execute(
        "SELECT CASE WHEN json_valid(body) THEN json_extract(body, '$.journal.head_batch') END FROM record "
        "WHERE run_id = ? AND revision = 1",
        (run_id,),
    ).fetchone()
    rows = connection.execute(
        "SELECT seq FROM batch WHERE seq BETWEEN ?1 AND ?2 AND run_id <> ?3 "
        "UNION SELECT first_seq FROM stretch WHERE first_seq BETWEEN ?1 AND ?2 AND run_id <> ?3",
        (first, 0 if head is None else head[0], run_id),
    )
    for (seq,) in rows:
        yield Finding("altered", f"Batch {seq} stands within run {number} and is said to be another run's.")


def _after(connection: sqlite3.Connection, run_id: str, number: int) -> Iterator[Finding]:
    """What stands behind each end of the run's batches must name that end as what it follows."""
    rows = connection.execute(
        "SELECT mine.last, mine.hash, coalesce(b.before, s.before) FROM (SELECT seq AS last, hash FROM batch "
        "WHERE run_id = ?1 UNION ALL SELECT last_seq, hash FROM stretch WHERE run_id = ?1) AS mine "
        "LEFT JOIN batch AS b ON b.seq = mine.last + 1 LEFT JOIN stretch AS s ON s.first_seq = mine.last + 1 "
        "ORDER BY mine.last",
        (run_id,),
    )
    for last, sha256, named in rows:
        if named is not None and named != sha256:
            yield Finding(
                "altered", f"Batch {last + 1} does not follow batch {last} of run {number} as it stands."
            )


def _messages(connection: sqlite3.Connection, run_id: str, number: int) -> Iterator[Finding]:
    """The run's records as they were queued for the plant."""
    rows = connection.execute(
        "SELECT seq, body, body_sha256 FROM outbox WHERE run_id = ? AND kind = 'record'", (run_id,)
    )
    for seq, body, sha256 in rows:
        if hashlib.sha256(body.encode()).hexdigest() != sha256:
            yield Finding("altered", f"Message {seq} for the plant, a record of run {number}, was altered.")


def _against(walk: Walk, head: ChainHead, number: int, first: int, last: int) -> list[Finding]:
    known = walk.seen.get(head.batch)
    if known == head.sha256:
        return []
    if known is None or head.batch == 0:
        text = f"Batch {head.batch} of the head given is not in run {number}, which has {first} to {last}"
        return [Finding("missing-tail", f"{text}: verify the whole store with it.")]
    text = f"Batch {head.batch} has another hash than the head given: run {number} was rewritten."
    return [Finding("rewritten", text)]
