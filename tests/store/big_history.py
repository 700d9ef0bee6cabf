"""Stores as large as those of a bench of many years: rows that look like runs, made quickly."""

from __future__ import annotations

import json
import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from tests.store.quick_runs import open_journal

METHODS = ("filler-45-interval", "fly-ash-45-interval", "starch-32-interval", "pvc-63-live")
OPERATORS = tuple(f"op-{number}" for number in range(1, 10))


def run_id_of(number: int) -> str:
    """A run id in time order, as a real one is: the time, then chance."""
    chance = random.Random(number).getrandbits(62)
    stamp = 1_700_000_000_000 + number * 900_000
    text = f"{stamp:012x}7{chance % 4096:03x}{(chance >> 12) % 65536:04x}{chance & 0xFFFFFFFFFFFF:012x}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


def started_at(number: int) -> str:
    """A quarter of an hour each, forty a day."""
    day, slot = divmod(number, 40)
    year, rest = divmod(day, 336)
    return (
        f"{2016 + year}-{rest // 28 + 1:02}-{rest % 28 + 1:02}T{6 + slot // 4:02}:{slot % 4 * 15:02}:00.000Z"
    )


def body_of(number: int) -> dict[str, Any]:
    """What the index reads of a record, in a record's usual size."""
    decision = ("accept", "accept", "accept", "inconclusive", "reject")[number % 5]
    return {
        "sample": {"sample_id": sample_of(number), "lot": lot_of(number)},
        "operator_id": OPERATORS[number % 9],
        "review": "unreviewed" if number % 50 == 0 else "accepted",
        "sieve": {"id": f"TS-{number % 6}"},
        "simulated": False,
        "assessment": {"decision": {"outcome": decision}},
        "filling": "x" * 5000,
    }


def sample_of(number: int) -> str:
    return f"MILL-{number % 7}-{number:06}"


def lot_of(number: int) -> str:
    return f"L{number // 50:05}"


def _rows(count: int) -> Iterator[tuple[Any, ...]]:
    for number in range(1, count + 1):
        yield (
            *(run_id_of(number), number, sample_of(number), OPERATORS[number % 9], lot_of(number)),
            *(METHODS[number % 4], 1, started_at(number), 1),
        )


def big_history(path: Path, count: int) -> Path:
    """A store of so many runs with a record each; without journals."""
    open_journal(path).close()
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("BEGIN")
        connection.executemany("INSERT INTO run VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", _rows(count))
        connection.executemany(
            "INSERT INTO record VALUES (?, 1, 'endpoint', 10.5, ?)",
            ((run_id_of(number), json.dumps(body_of(number))) for number in range(1, count + 1)),
        )
        connection.execute("COMMIT")
    return path
