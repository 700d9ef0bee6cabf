"""Rows a second: the journal against a bare SQLite table of the same durability.

Both commit the same readings in the same groups with WAL and `synchronous = FULL`, in turns. The bare table keeps the
columns and nothing else: no chain, no raw lines in a codec, no room for a failing disk.
"""

from __future__ import annotations

import itertools
import sqlite3
import tempfile
import time
from contextlib import closing
from pathlib import Path

from logger.core.readings import Reading
from tests.store.quick_runs import open_journal, open_run, readings_of

GROUP = 500
ROWS = 50_000
TURNS = 3


def ours_s(path: Path, readings: list[Reading]) -> float:
    """Seconds for all rows, each group durable before the next."""
    journal, run = open_journal(path), open_run(1)
    journal.start_run(run.run_id, run.events[0]).result()
    start = time.perf_counter()
    for first in range(0, len(readings), GROUP):
        journal.add(run.run_id, [], readings[first : first + GROUP])
        journal.flush().result()
    taken = time.perf_counter() - start
    journal.close()
    return taken


def bare_s(path: Path, readings: list[Reading]) -> float:
    """The same rows into one table."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(
            "CREATE TABLE reading (channel TEXT, at_ns INTEGER, value REAL, quality TEXT, stable INTEGER, "
            "resolution REAL, raw TEXT)"
        )
        start = time.perf_counter()
        for first in range(0, len(readings), GROUP):
            connection.execute("BEGIN IMMEDIATE")
            rows = [
                (r.channel, r.at_ns, r.value, r.quality, r.stable, r.resolution, r.raw)
                for r in readings[first : first + GROUP]
            ]
            connection.executemany("INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?)", rows)
            connection.execute("COMMIT")
        return time.perf_counter() - start


def measure() -> dict[str, float]:
    """The best of some turns of each."""
    readings = list(itertools.islice(readings_of(1), ROWS))
    with tempfile.TemporaryDirectory() as folder:
        times = [
            (ours_s(Path(folder) / f"o{turn}", readings), bare_s(Path(folder) / f"b{turn}", readings))
            for turn in range(TURNS)
        ]
    ours, bare = min(own for own, _ in times), min(other for _, other in times)
    return {"journal_rows_per_s": ROWS / ours, "bare_rows_per_s": ROWS / bare, "ratio": bare / ours}
