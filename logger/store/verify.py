"""Walks the chain from its start and names the first place where the journal is not what it was.

Four verdicts: altered (a row does not fit its hash), missing tail or rewritten (only against a head that
someone else holds), and not verifiable for want of such a head.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from dataclasses import dataclass
from typing import Any, Literal

from logger.core.record import ChainHead
from logger.core.run.events import EventKind
from logger.core.run.plan import sha256_json
from logger.store.archive import run_blobs
from logger.store.chain import GENESIS, batch_hash
from logger.store.journal import events_of

Verdict = Literal["whole", "no-outside-head", "altered", "missing-tail", "rewritten"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One verdict with its sentence. `no-outside-head` is not an error: the chain agrees with itself."""

    verdict: Verdict
    text: str

    @property
    def sound(self) -> bool:
        """Whether nothing wrong was found."""
        return self.verdict in ("whole", "no-outside-head")


def verify(connection: sqlite3.Connection, outside_head: ChainHead | None = None) -> list[Finding]:
    """All that is wrong, or one sound finding. `outside_head`: a head that was kept elsewhere."""
    heads, findings = _walk(connection)
    findings += _records(connection)
    if not findings and outside_head is not None:
        findings = _against(heads, outside_head)
    if findings:
        return findings
    batches = f"{len(heads) - 1} batches agree"
    if outside_head is None:
        return [
            Finding(
                "no-outside-head", f"{batches} with each other; no outside head was given to compare with."
            )
        ]
    return [
        Finding("whole", f"{batches} with each other and with the head given, batch {outside_head.batch}.")
    ]


def _against(heads: list[str], outside: ChainHead) -> list[Finding]:
    if outside.batch >= len(heads):
        missing = outside.batch - len(heads) + 1
        return [
            Finding(
                "missing-tail",
                f"The last {missing} batches up to the head given, batch {outside.batch}, are missing.",
            )
        ]
    if heads[outside.batch] != outside.sha256:
        return [
            Finding(
                "rewritten",
                f"Batch {outside.batch} has another hash than the head given: the chain was rewritten.",
            )
        ]
    return []


def _walk(connection: sqlite3.Connection) -> tuple[list[str], list[Finding]]:
    blobs = _all_blobs(connection)
    heads, findings = [GENESIS], []
    rows = connection.execute(
        "SELECT seq, run_id, at_ns, utc, events, readings_sha256, hash FROM batch ORDER BY seq"
    )
    for place, (seq, run_id, at_ns, utc, events, readings_sha256, stored) in enumerate(rows, start=1):
        where = f"run {run_id}, batch {seq}"
        if seq != place:
            findings.append(Finding("altered", f"{where}: batch {place} is missing before it."))
            break
        if batch_hash(heads[-1], seq, run_id, at_ns, utc, events, readings_sha256) != stored:
            findings.append(Finding("altered", f"{where}: events or times were altered."))
        blob = blobs.get(run_id)
        if isinstance(blob, str):
            findings.append(Finding("altered", f"run {run_id}: {blob}."))
            blobs[run_id] = None
        elif blob is not None and hashlib.sha256(blob.pop(0)).hexdigest() != readings_sha256:
            findings.append(Finding("altered", f"{where}: readings were altered."))
        heads.append(stored)
    return heads, findings


def _all_blobs(connection: sqlite3.Connection) -> dict[str, list[bytes] | str | None]:
    found: dict[str, list[bytes] | str | None] = {}
    for (run_id,) in connection.execute("SELECT run_id FROM run").fetchall():
        try:
            found[run_id] = run_blobs(connection, run_id)
        except ValueError as error:
            found[run_id] = str(error)
    return found


def _records(connection: sqlite3.Connection) -> list[Finding]:
    """Each record must have the hash that the journal says it was issued with."""
    issued = {(run_id, data["revision"]): data["sha256"] for run_id, data in _issued(connection)}
    findings = []
    for run_id, revision, body in connection.execute("SELECT run_id, revision, body FROM record").fetchall():
        plain = json.loads(body)
        claimed = plain.pop("record_sha256", "")
        if sha256_json(plain) != claimed or issued.get((run_id, revision)) != claimed:
            findings.append(Finding("altered", f"run {run_id}: record revision {revision} was altered."))
    return findings


def _issued(connection: sqlite3.Connection) -> list[tuple[str, dict[str, Any]]]:
    rows = connection.execute(
        "SELECT run_id, events FROM batch WHERE events LIKE '%record_issued%' ORDER BY seq"
    )
    return [
        (run_id, event.data)
        for run_id, text in rows
        for event in events_of(text)
        if event.kind is EventKind.RECORD_ISSUED
    ]
