"""Where the register ends, noted apart from it, so that entries cut off its end are missed.

A run's record freezes the register's newest entry at its start, so that the journal vouches for all before it.
For what was entered since, the number and hash of the newest entry are noted in `meta`, in the transaction that
enters it. The note is no outside head: whoever can write the file can write both. A head that was kept elsewhere
(`runs verify` and the summary of a shift print it) proves that nothing up to it was cut or rewritten.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from typing import Literal

NOTED = "register_head"
"""Key in `meta`: the newest entry as NUMBER:SHA256. A store of an earlier program has none until the next entry."""
CUT = "register_cut"
"""Key in `meta`: the first noted entry that was found gone when the next was entered; it stays for good."""

Fault = tuple[Literal["missing-tail", "rewritten"], str]


def note_end(connection: sqlite3.Connection, seq: int, sha256: str) -> None:
    """Note the newest entry, in the transaction that enters it; an earlier note that no longer holds is kept."""
    noted = _value(connection, NOTED)
    if noted and not _holds(connection, noted):
        connection.execute("INSERT OR IGNORE INTO meta VALUES (?, ?)", (CUT, noted))
    connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (NOTED, f"{seq}:{sha256}"))


def end_faults(connection: sqlite3.Connection, outside: str = "") -> Iterator[Fault]:
    """What is missing or rewritten against the notes and the head given, NUMBER:SHA256."""
    heads = {
        _value(connection, CUT): "which was its newest when more was entered",
        _value(connection, NOTED): "which was noted as its newest",
        outside: "the head given",
    }
    for head, whose in heads.items():
        if head and not _holds(connection, head):
            yield _fault(connection, head, whose)


def _fault(connection: sqlite3.Connection, head: str, whose: str) -> Fault:
    number = head.partition(":")[0]
    there = connection.execute("SELECT 1 FROM register WHERE seq = ?", (_seq(head),)).fetchone()
    if there is None:
        return "missing-tail", f"The register lacks entry {number}, {whose}: its end was cut off."
    return (
        "rewritten",
        f"Entry {number} of the register, {whose}, has another hash: the register was rewritten.",
    )


def _holds(connection: sqlite3.Connection, head: str) -> bool:
    known = connection.execute("SELECT hash FROM register WHERE seq = ?", (_seq(head),)).fetchone()
    return known is not None and known[0] == head.partition(":")[2]


def _seq(head: str) -> int:
    """-1, which no entry has, for a note that was spoilt."""
    number = head.partition(":")[0]
    return int(number) if number.isdecimal() and len(number) < 16 else -1


def _value(connection: sqlite3.Connection, key: str) -> str:
    row = connection.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
    return "" if row is None else str(row[0])
