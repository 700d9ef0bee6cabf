"""Walks the chain from its start and names every place where the store is not what it was.

Verdicts: altered (a row does not fit its hash), lost (batches that the store itself says are missing),
missing tail or rewritten (against a head that someone else holds, or the one noted beside the store),
and no outside head (the chain agrees with itself, which a rewritten one does as well).
"""

from __future__ import annotations

import hashlib
import heapq
import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Literal

from logger.core.record import ChainHead, listed_residue_pct
from logger.core.run.events import EventKind
from logger.core.run.plan import sha256_json
from logger.store.archive import MARK_BYTES
from logger.store.batches import Batch, batch_rows, unpacked
from logger.store.chain import GENESIS
from logger.store.gaps import LOST, SALVAGED
from logger.store.journal_text import events_of, run_columns
from logger.store.register import head_text, register_faults
from logger.store.register_end import end_faults
from logger.store.secrets import secret_faults

Verdict = Literal["whole", "no-outside-head", "altered", "lost", "missing-tail", "rewritten"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One verdict with its sentence. `no-outside-head` is not an error: the chain agrees with itself."""

    verdict: Verdict
    text: str

    @property
    def sound(self) -> bool:
        """Whether nothing wrong was found."""
        return self.verdict in ("whole", "no-outside-head")


Told = Callable[[int], None]
"""Hears the number of each batch that has been looked at."""


def verify(
    connection: sqlite3.Connection,
    outside: ChainHead | None = None,
    noted: ChainHead | None = None,
    told: Told = lambda batch: None,
    outside_register: str = "",
) -> list[Finding]:
    """All that is wrong, or one sound finding.

    `outside` is a head that was kept elsewhere, `outside_register` one of the register (NUMBER:SHA256); `noted`
    is the one in the file beside the store, which only finds accidents. Reads a packed stretch at a time, so
    that memory stays small.
    """
    walk = Walk(connection, {head.batch for head in (outside, noted) if head is not None}, told=told)
    findings = [*walk.findings(), *_messages(connection)]
    faults = list(register_faults(connection))
    findings += [Finding(walk.missing, text) for text in faults or secret_faults(connection)]
    findings += _register_end(connection, outside_register, walk.missing)
    for head, whose in ((outside, "the head given"), (noted, "the head noted beside the store")):
        if head is not None:
            findings += _against(walk, head, whose)
    if findings:
        return findings
    batches = f"{walk.batches} batches agree with each other"
    register = _register_sentence(connection, outside_register)
    if outside is None:
        return [
            Finding("no-outside-head", f"{batches}; no outside head was given to compare with.{register}")
        ]
    return [Finding("whole", f"{batches} and with the head given, batch {outside.batch}.{register}")]


def _register_end(connection: sqlite3.Connection, outside: str, missing: Verdict) -> Iterator[Finding]:
    for verdict, text in end_faults(connection, outside):
        yield Finding("lost" if missing == "lost" and verdict == "missing-tail" else verdict, text)


def _register_sentence(connection: sqlite3.Connection, outside: str) -> str:
    """Names the register's head, so that it can be kept elsewhere; nothing for an empty register."""
    newest = head_text(connection)
    held = f" and agrees with entry {outside.partition(':')[0]} as given" if outside else ""
    return f" The register ends with {newest}{held}." if newest else ""


def _against(walk: Walk, head: ChainHead, whose: str) -> list[Finding]:
    known = walk.seen.get(head.batch)
    if known == head.sha256:
        return []
    if head.batch > walk.last:
        text = f"The last {head.batch - walk.last} batches up to {whose}, batch {head.batch}, are missing."
        return [Finding("missing-tail", text)]
    if known is None:
        return [Finding("missing-tail", f"Batch {head.batch}, that of {whose}, is missing.")]
    return [
        Finding("rewritten", f"Batch {head.batch} has another hash than {whose}: the chain was rewritten.")
    ]


@dataclass(slots=True)
class _Piece:
    """A batch, a packed stretch or a gap, at its place."""

    first: int
    last: int
    run_id: str
    before: str
    hash: str
    rows: Iterable[Batch] = ()
    marks: bytes = b""
    gap: str = ""


@dataclass(slots=True)
class Walk:
    """One pass over everything that is chained, or over one run of it. `wanted`: batches whose hash is asked for."""

    connection: sqlite3.Connection
    wanted: set[int]
    run_id: str = ""
    told: Told = lambda batch: None
    seen: dict[int, str] = field(default_factory=lambda: {0: GENESIS})
    last: int = 0
    batches: int = 0
    _issued: dict[tuple[str, int], str] = field(default_factory=dict)
    _begun: dict[str, bool] = field(default_factory=dict)
    missing: Verdict = "altered"

    def findings(self) -> Iterator[Finding]:
        """Everything that does not fit, in order of place."""
        before, lost_at = GENESIS, 0
        yield from self._losses()
        for piece in _pieces(self.connection, self.run_id):
            if self.run_id:
                self.last, before, lost_at = end_before(self.connection, piece.first)
            yield from self._place(piece, before, lost_at)
            if piece.gap:
                lost_at = piece.last
            yield from self._content(piece)
            before, self.last = piece.hash, piece.last
            self.told(piece.last)
            if piece.last in self.wanted and piece.hash:
                self.seen[piece.last] = piece.hash
        yield from self._runs()
        yield from self._records()

    def _losses(self) -> Iterator[Finding]:
        """What is missing in a store that knows of a loss is lost, not taken out."""
        salvaged = self.connection.execute("SELECT value FROM meta WHERE key = ?", (SALVAGED,)).fetchone()
        if salvaged is not None:
            yield Finding("lost", f"What could not be read is lost: {salvaged[0]}.")
        if salvaged is not None or self.connection.execute("SELECT 1 FROM gap").fetchone() is not None:
            self.missing = "lost"

    def _place(self, piece: _Piece, before: str, lost_at: int) -> Iterator[Finding]:
        if piece.gap:
            yield Finding("lost", f"Batches {piece.first} to {piece.last} are lost: {piece.gap}.")
        if piece.first > self.last + 1:
            text = (
                f"{self._where(piece)}: batches {self.last + 1} to {piece.first - 1} before it are missing."
            )
            yield Finding("altered", text)
        elif piece.first <= self.last:
            yield Finding("altered", f"{self._where(piece)}: there are two batches of this number.")
        elif not piece.gap and piece.before != before and not (lost_at == self.last and not before):
            yield Finding("altered", f"{self._where(piece)}: it does not follow the batch before it.")

    def _content(self, piece: _Piece) -> Iterator[Finding]:
        if piece.gap:
            return
        try:
            wrong, true_hash = self._read(piece)
        except ValueError as error:
            yield Finding("altered", f"{self._where(piece)}: {error}.")
            return
        if true_hash != piece.hash and not wrong:
            wrong = [piece.first] if piece.first == piece.last else []
        for seq in wrong:
            yield Finding(
                "altered", f"{self._name(piece.run_id)}, batch {seq}: readings, events or times were altered."
            )
        if true_hash != piece.hash and not wrong:
            yield Finding("altered", f"{self._where(piece)}: readings, events or times were altered.")

    def _read(self, piece: _Piece) -> tuple[list[int], str]:
        """Numbers of batches that do not fit their mark, and the hash that follows for the last."""
        wrong: list[int] = []
        true_hash, count = piece.before, 0
        for place, batch in enumerate(piece.rows):
            true_hash = batch.true_hash()
            mark = piece.marks[MARK_BYTES * place : MARK_BYTES * (place + 1)]
            if mark and not wrong and not true_hash.startswith(mark.hex()):
                wrong.append(batch.seq)
            self._take(batch)
            count += 1
            if batch.seq in self.wanted:
                self.seen[batch.seq] = true_hash
        if count != piece.last - piece.first + 1:
            raise ValueError("batches are missing in it")
        self.batches += count
        return wrong, true_hash

    def _take(self, batch: Batch) -> None:
        """Remember what the run's row and records must agree with."""
        if "run_planned" not in batch.content.events and "record_issued" not in batch.content.events:
            return
        try:
            events = events_of(batch.content.events)
        except (ValueError, KeyError, TypeError):
            return
        for event in events:
            if event.kind is EventKind.RECORD_ISSUED:
                self._issued[batch.run_id, event.data["revision"]] = event.data["sha256"]
            elif event.kind is EventKind.RUN_PLANNED:
                self._begun[batch.run_id] = self._row_fits(batch.run_id, event.data, event.utc)

    def _row_fits(self, run_id: str, plan: dict[str, object], utc: str) -> bool:
        row = self.connection.execute(
            "SELECT sample_id, operator_id, lot, method_id, method_revision, started_at FROM run WHERE run_id = ?",
            (run_id,),
        ).fetchone()
        return bool(row == (*run_columns(plan), utc))

    def _runs(self) -> Iterator[Finding]:
        """Each line of the history must say what the run's first event says."""
        where, values = self._only("WHERE")
        for run_id, number in self.connection.execute(
            f"SELECT run_id, number FROM run {where} ORDER BY number", values
        ):
            if run_id in self._begun and not self._begun[run_id]:
                text = f"run {number} ({run_id}): its line in the history is not what was planned."
                yield Finding("altered", text)
            elif run_id not in self._begun:
                yield Finding(self.missing, f"run {number} ({run_id}): its beginning is missing.")

    def _records(self) -> Iterator[Finding]:
        """Each record must have the hash that the journal says it was issued with."""
        where, values = self._only("WHERE")
        rows = self.connection.execute(
            f"SELECT run_id, revision, outcome, residue_pct, body FROM record {where}", values
        )
        for run_id, revision, outcome, residue_pct, body in rows:
            issued = self._issued.pop((run_id, revision), None)
            lost = issued is None and self.missing == "lost"
            if not record_fits(body, outcome, residue_pct, issued, unknown_is_well=lost):
                yield Finding("altered", f"{self._name(run_id)}: record revision {revision} was altered.")
        for run_id, revision in self._issued:
            yield Finding(self.missing, f"{self._name(run_id)}: record revision {revision} is missing.")

    def _only(self, word: str) -> tuple[str, tuple[str, ...]]:
        """The condition that keeps to the run, where one is walked alone."""
        return (f"{word} run_id = ?", (self.run_id,)) if self.run_id else ("", ())

    def _where(self, piece: _Piece) -> str:
        batches = (
            f"batch {piece.first}" if piece.first == piece.last else f"batches {piece.first} to {piece.last}"
        )
        return f"{self._name(piece.run_id)}, {batches}" if piece.run_id else batches

    def _name(self, run_id: str) -> str:
        row = self.connection.execute("SELECT number FROM run WHERE run_id = ?", (run_id,)).fetchone()
        return f"run {row[0]} ({run_id})" if row else f"run {run_id}"


def record_fits(
    body: str, outcome: str, residue_pct: float | None, issued: str | None, *, unknown_is_well: bool
) -> bool:
    """Whether a record has its own hash, that of the journal, and what the history lists of it."""
    try:
        plain = json.loads(body)
        claimed = plain.pop("record_sha256")
        listed = listed_residue_pct(plain)
    except (ValueError, KeyError, TypeError, AttributeError):
        return False
    known = issued == claimed or (issued is None and unknown_is_well)
    return known and sha256_json(plain) == claimed and (plain["outcome"], listed) == (outcome, residue_pct)


def _pieces(connection: sqlite3.Connection, run_id: str) -> Iterator[_Piece]:
    batches = batch_rows(connection, "run_id = ?", run_id) if run_id else batch_rows(connection, "1")
    return heapq.merge(
        (_Piece(b.seq, b.seq, b.run_id, b.before, b.hash, rows=(b,)) for b in batches),
        _stretches(connection, run_id),
        iter(()) if run_id else _gaps(connection),
        key=lambda piece: piece.first,
    )


def _stretches(connection: sqlite3.Connection, run_id: str) -> Iterator[_Piece]:
    where, values = ("WHERE run_id = ?", (run_id,)) if run_id else ("", ())
    query = f"SELECT first_seq, last_seq, run_id, before, hash, marks, packed FROM stretch {where} ORDER BY first_seq"
    for first, last, own_id, before, sha256, marks, packed in connection.execute(query, values):
        yield _Piece(first, last, own_id, before, sha256, unpacked(first, own_id, before, packed), marks)


def end_before(connection: sqlite3.Connection, seq: int) -> tuple[int, str, int]:
    """The newest batch before this one with its hash, and its number again where it is known to be lost."""
    found = [(0, GENESIS, 0)]
    for table, last, key in (
        ("batch", "seq", "seq"),
        ("stretch", "last_seq", "first_seq"),
        ("gap", "last_seq", "first_seq"),
    ):
        row = connection.execute(
            f"SELECT {last}, hash FROM {table} WHERE {key} < ? ORDER BY {key} DESC LIMIT 1", (seq,)
        ).fetchone()
        if row is not None:
            found.append((*row, row[0] if table == "gap" else 0))
    return max(found)


def _gaps(connection: sqlite3.Connection) -> Iterator[_Piece]:
    for first, last, sha256, at, reason in connection.execute("SELECT * FROM gap ORDER BY first_seq"):
        yield _Piece(first, last, "", "", sha256, gap=f"{reason} (noticed {at})")


def _messages(connection: sqlite3.Connection) -> Iterator[Finding]:
    """The outbox has no chain: its numbers must be without gaps, its bodies fit their hashes."""
    expected = 1
    rows = connection.execute("SELECT seq, body, body_sha256, set_aside FROM outbox ORDER BY seq")
    for seq, body, sha256, set_aside in rows:
        if (set_aside or "").startswith(LOST):
            yield Finding(
                "lost", f"Messages {expected} to {seq} for the plant are lost: {set_aside[len(LOST) :]}."
            )
        elif seq != expected:
            yield Finding("altered", f"Messages {expected} to {seq - 1} for the plant are missing.")
        if hashlib.sha256(body.encode()).hexdigest() != sha256:
            yield Finding("altered", f"Message {seq} for the plant was altered.")
        expected = seq + 1
