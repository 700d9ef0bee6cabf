"""Readings of finished runs, packed. Unpacking gives the very bytes that were hashed, batch by batch."""

from __future__ import annotations

import json
import lzma
import sqlite3

_EMPTY = b""


def archive_readings(connection: sqlite3.Connection, run_id: str) -> None:
    """Move the run's readings from its batches into one packed row. A second call changes nothing."""
    rows = connection.execute(
        "SELECT seq, readings FROM batch WHERE run_id = ? AND readings IS NOT NULL ORDER BY seq", (run_id,)
    ).fetchall()
    known = connection.execute("SELECT 1 FROM archive WHERE run_id = ?", (run_id,)).fetchone()
    if known is not None or not rows:
        return
    lengths = json.dumps([len(blob) for _, blob in rows])
    packed = lzma.compress(_EMPTY.join(blob for _, blob in rows), preset=6)
    connection.execute("INSERT INTO archive VALUES (?, ?, ?)", (run_id, lengths, packed))
    connection.executemany("UPDATE batch SET readings = NULL WHERE seq = ?", [(seq,) for seq, _ in rows])


def run_blobs(connection: sqlite3.Connection, run_id: str) -> list[bytes]:
    """The readings of each batch as they were hashed, oldest first.

    Raises ValueError when the packed row is damaged or has fewer batches than the journal.
    """
    rows = connection.execute(
        "SELECT readings FROM batch WHERE run_id = ? ORDER BY seq", (run_id,)
    ).fetchall()
    archive = connection.execute("SELECT lengths, packed FROM archive WHERE run_id = ?", (run_id,)).fetchone()
    packed = iter([] if archive is None else _unpack(*archive))
    try:
        return [next(packed) if blob is None else blob for (blob,) in rows]
    except StopIteration:
        raise ValueError("packed readings are missing") from None


def _unpack(lengths: str, packed: bytes) -> list[bytes]:
    try:
        data = lzma.decompress(packed)
    except lzma.LZMAError as error:
        raise ValueError(f"packed readings are damaged: {error}") from None
    start, blobs = 0, []
    for length in json.loads(lengths):
        blobs.append(data[start : start + length])
        start += length
    return blobs
