"""An index of the history beside the store, so that lists and searches stay fast with 100,000 runs.

It holds nothing of its own: it is filled from the store before each question and may be deleted at any time;
it is made again when it does not fit the store (after a restore) or cannot be read. The bench's writer knows
nothing of it. Words are looked up by their beginnings in SQLite's full-text index.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any, TypeVar

from logger.core.run_list import NONE, OPEN, RunFilter, RunPage
from logger.store.run_lines import COLUMNS, line_from, of_body

FORMAT = 2
_BLOCK = 500

_TABLES = """
CREATE TABLE seen (
  number INTEGER NOT NULL, run_id TEXT NOT NULL,
  record INTEGER NOT NULL, record_run TEXT NOT NULL, record_revision INTEGER NOT NULL
) STRICT;
INSERT INTO seen VALUES (0, '', 0, '', 0);
CREATE TABLE line (
  number INTEGER PRIMARY KEY,
  run_id TEXT NOT NULL UNIQUE,
  started_at TEXT NOT NULL,
  sample_id TEXT NOT NULL,
  lot TEXT NOT NULL,
  operator_id TEXT NOT NULL,
  method_id TEXT NOT NULL,
  method_revision INTEGER NOT NULL,
  outcome TEXT NOT NULL DEFAULT '',
  residue_pct REAL,
  decision TEXT NOT NULL DEFAULT '',
  review TEXT NOT NULL DEFAULT '',
  revision INTEGER NOT NULL DEFAULT 0,
  sieve_id TEXT NOT NULL DEFAULT '',
  simulated INTEGER NOT NULL DEFAULT 0
) STRICT;
-- A number follows each key, since it is the row's own: equal ones come in the order of the list.
CREATE INDEX line_sample ON line (sample_id, lot);
CREATE INDEX line_method ON line (method_id);
CREATE INDEX line_outcome ON line (outcome);
CREATE INDEX line_decision ON line (decision);
CREATE INDEX line_review ON line (review);
CREATE INDEX line_sieve ON line (sieve_id);
CREATE INDEX line_started ON line (started_at);
CREATE VIRTUAL TABLE word USING fts5(
  text, id, tokenize = "unicode61 remove_diacritics 2", prefix = '1 2 3 4 5 6'
);
"""

Found = TypeVar("Found")
_COLUMNS = ", ".join(COLUMNS)
_BY_RECORD = (
    *("sample_id", "lot", "operator_id", "outcome", "residue_pct", "decision", "review", "revision"),
    *("sieve_id", "simulated"),
)


def index_path(store: Path) -> Path:
    """Where the index of a store is kept."""
    return store.with_name(f"{store.name}.index")


def with_index(
    store: Path, connection: sqlite3.Connection, ask: Callable[[sqlite3.Connection], Found]
) -> Found:
    """What `ask` finds in the index, brought up to date with the store that `connection` reads.

    Where the folder cannot be written the index is made in memory, which takes longer. Raises sqlite3.Error.
    """
    path = index_path(store)
    for attempt in (1, 2):
        try:
            with closing(_opened(path)) as index:
                _catch_up(index, connection)
                return ask(index)
        except sqlite3.DatabaseError as error:
            damaged = not isinstance(error, sqlite3.OperationalError)
            if attempt == 1 and damaged and _removed(path):
                continue
            break
        except OSError:
            break
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as index:
        prepare(index)
        _catch_up(index, connection)
        return ask(index)


def _removed(path: Path) -> bool:
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True


def _opened(path: Path) -> sqlite3.Connection:
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    index = sqlite3.connect(path, isolation_level=None)
    try:
        index.execute("PRAGMA busy_timeout = 5000")
        if not _is_ours(index):
            prepare(index)
    except BaseException:
        index.close()
        raise
    return index


def _is_ours(index: sqlite3.Connection) -> bool:
    return bool(index.execute("PRAGMA user_version").fetchone()[0] == FORMAT)


def prepare(index: sqlite3.Connection) -> None:
    """Empty tables, whatever was there."""
    index.execute("BEGIN IMMEDIATE")
    if _is_ours(index):
        index.execute("COMMIT")  # another process was quicker
        return
    names = index.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name IN ('seen', 'line', 'word')"
    )
    for (name,) in names.fetchall():
        index.execute(f"DROP TABLE {name}")
    for statement in _TABLES.split(";\n"):
        index.execute(statement)
    index.execute(f"PRAGMA user_version = {FORMAT}")
    index.execute("COMMIT")


# --- bringing it up to date -----------------------------------------------------------------------------


def _catch_up(index: sqlite3.Connection, store: sqlite3.Connection) -> None:
    if _is_current(index, store):
        return
    index.execute("BEGIN IMMEDIATE")
    try:
        if not _fits(index, store):
            index.execute("DELETE FROM line")
            index.execute("DELETE FROM word")
            index.execute(
                "UPDATE seen SET number = 0, run_id = '', record = 0, record_run = '', record_revision = 0"
            )
        _add_runs(index, store)
        _add_records(index, store)
    except BaseException:
        index.execute("ROLLBACK")
        raise
    index.execute("COMMIT")


def _newest(store: sqlite3.Connection) -> tuple[object, ...]:
    run = store.execute("SELECT number, run_id FROM run ORDER BY number DESC LIMIT 1").fetchone()
    record = store.execute(
        "SELECT rowid, run_id, revision FROM record ORDER BY rowid DESC LIMIT 1"
    ).fetchone()
    return (*(run or (0, "")), *(record or (0, "", 0)))


def _is_current(index: sqlite3.Connection, store: sqlite3.Connection) -> bool:
    return bool(index.execute("SELECT * FROM seen").fetchone() == _newest(store))


def _fits(index: sqlite3.Connection, store: sqlite3.Connection) -> bool:
    """Whether the store still has what was seen last at the same places: after a restore it has not."""
    number, run_id, record, record_run, revision = index.execute("SELECT * FROM seen").fetchone()
    run = store.execute("SELECT run_id FROM run WHERE number = ?", (number,)).fetchone()
    kept = store.execute("SELECT run_id, revision FROM record WHERE rowid = ?", (record,)).fetchone()
    return (not number or run == (run_id,)) and (not record or kept == (record_run, revision))


def _add_runs(index: sqlite3.Connection, store: sqlite3.Connection) -> None:
    (last,) = index.execute("SELECT number FROM seen").fetchone()
    rows = store.execute(
        "SELECT number, run_id, started_at, sample_id, lot, operator_id, method_id, method_revision FROM run "
        "WHERE number > ? ORDER BY number",
        (last,),
    )
    while block := rows.fetchmany(_BLOCK):
        index.executemany(
            "INSERT INTO line (number, run_id, started_at, sample_id, lot, operator_id, method_id, method_revision) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            block,
        )
        index.executemany(
            "INSERT INTO word (rowid, text, id) VALUES (?, ?, ?)",
            ((row[0], _words(*row[3:7]), _ids(row[1], row[0])) for row in block),
        )
        index.execute("UPDATE seen SET number = ?, run_id = ?", block[-1][:2])


def _add_records(index: sqlite3.Connection, store: sqlite3.Connection) -> None:
    """In the order they were written, so that the newest revision of a run stays."""
    (last,) = index.execute("SELECT record FROM seen").fetchone()
    rows = store.execute(
        "SELECT rowid, run_id, revision, outcome, residue_pct, body FROM record WHERE rowid > ? ORDER BY rowid",
        (last,),
    )
    while block := rows.fetchmany(_BLOCK):
        for row in block:
            _add_record(index, *row[1:])
        index.execute("UPDATE seen SET record = ?, record_run = ?, record_revision = ?", block[-1][:3])


_UPDATE = (
    f"UPDATE line SET {', '.join(f'{name} = :{name}' for name in _BY_RECORD)} "
    "WHERE run_id = :run_id AND revision <= :revision"
)


def _add_record(
    index: sqlite3.Connection, run_id: str, revision: int, outcome: str, residue_pct: float | None, body: str
) -> None:
    found = index.execute(
        "SELECT sample_id, lot, operator_id, simulated, method_id, number FROM line WHERE run_id = ?",
        (run_id,),
    ).fetchone()
    if found is None:
        return
    *known, method_id, number = found
    values = of_body(body, known)
    listed = {"run_id": run_id, "revision": revision, "outcome": outcome, "residue_pct": residue_pct}
    index.execute(_UPDATE, values | listed)
    texts = [values["sample_id"], values["lot"], values["operator_id"]]
    if texts != known[:3]:
        index.execute("UPDATE word SET text = ? WHERE rowid = ?", (_words(*texts, method_id), number))


def _words(*texts: str) -> str:
    return "\n".join(texts)


def _ids(run_id: str, number: int) -> str:
    """Under the words that are looked for as a whole: id and number."""
    return f"{_one_word(run_id)} {_NUMBERED}{number}"


def _one_word(run_id: str) -> str:
    return run_id.replace("-", "")


# --- asking ---------------------------------------------------------------------------------------------

_EXACT = ("method_id", "sieve_id", "sample_id", "review")


def page(index: sqlite3.Connection, wanted: RunFilter, limit: int, before: int | None) -> RunPage:
    """The newest `limit` lines that fit, of runs with a number below `before`."""
    words, signs = _search(wanted.text)
    # A cross join keeps this order: SQLite walks the words newest first and stops when the page is full.
    source, key = (
        ("word CROSS JOIN line ON line.number = word.rowid", "word.rowid") if words else ("line", "number")
    )
    where = [*_conditions(wanted), *signs]
    if words:
        where.insert(0, ("word MATCH ?", words))
    if before is not None:
        where.append((f"{key} < ?", before))
    condition = f" WHERE {' AND '.join(text for text, _ in where)}" if where else ""
    rows = index.execute(
        f"SELECT {_COLUMNS} FROM {source}{condition} ORDER BY {key} DESC LIMIT ?",
        (*(value for _, value in where), limit + 1),
    ).fetchall()
    lines = tuple(line_from(row) for row in rows[:limit])
    return RunPage(lines, lines[-1].number if len(rows) > limit else None)


def _conditions(wanted: RunFilter) -> list[tuple[str, Any]]:
    where: list[tuple[str, Any]] = [(f"{name} = ?", getattr(wanted, name)) for name in _EXACT]
    where += [
        ("outcome = ?", "" if wanted.outcome == OPEN else wanted.outcome),
        ("decision = ?", "" if wanted.decision == NONE else wanted.decision),
        # The list is in the order of numbers, which dates nearly follow: the plus keeps SQLite from sorting by date.
        ("+started_at >= ?", wanted.since),
        ("+started_at < ?", wanted.day_after),
        (_LIKE, wanted.like),
    ]
    asked = (*_EXACT, "outcome", "decision", "since", "until", "like")
    return [condition for name, condition in zip(asked, where, strict=True) if getattr(wanted, name)]


_LIKE = "(sample_id, lot, method_id) = (SELECT sample_id, lot, method_id FROM line WHERE number = CAST(? AS INTEGER))"


def _search(text: str) -> tuple[str, list[tuple[str, Any]]]:
    """Words by their beginnings; a word of signs only, which no index of words knows, wherever it stands."""
    words = text.split()
    spelt = [word for word in words if any(char.isalnum() for char in word)]
    signs = [(_SIGN, word) for word in words if word not in spelt]
    return " AND ".join(map(_match, spelt)), list(signs)


def _match(word: str) -> str:
    found = f"text : {_quoted(word)} *"
    if _RUN_ID.fullmatch(word):
        return f"({found} OR id : {_quoted(_one_word(word))} *)"
    return f"({found} OR id : {_quoted(_NUMBERED + word)})" if _NUMBER.fullmatch(word) else found


def _quoted(word: str) -> str:
    return '"' + word.replace('"', '""') + '"'


_NUMBER = re.compile("[1-9][0-9]{0,6}", re.ASCII)
_NUMBERED = "n"
"""Stands before a run's number in the index, so that it is no beginning of an id."""
_RUN_ID = re.compile("[0-9a-fA-F]{8}[0-9a-fA-F-]*", re.ASCII)
"""A shorter beginning would find runs of a time by chance: ids begin with it."""
_SIGN = "instr(sample_id || char(10) || lot || char(10) || operator_id || char(10) || method_id, ?)"
