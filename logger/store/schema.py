"""Tables and their version. A file from a newer version is refused untouched."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from logger.store.errors import StoreError

VERSION = 1
LEAST_SQLITE = (3, 37, 0)
"""STRICT tables came with 3.37."""

_TABLES = """
CREATE TABLE meta (
  key TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT;
CREATE TABLE run (
  run_id TEXT PRIMARY KEY,
  number INTEGER NOT NULL UNIQUE,
  sample_id TEXT NOT NULL,
  operator_id TEXT NOT NULL,
  lot TEXT NOT NULL,
  method_id TEXT NOT NULL,
  method_revision INTEGER NOT NULL,
  started_at TEXT NOT NULL,
  first_batch INTEGER NOT NULL
) STRICT;
CREATE TABLE batch (
  seq INTEGER PRIMARY KEY,
  run_id TEXT NOT NULL REFERENCES run (run_id),
  at_ns INTEGER NOT NULL,
  utc TEXT NOT NULL,
  events TEXT NOT NULL,
  readings BLOB,
  readings_sha256 TEXT NOT NULL,
  reading_count INTEGER NOT NULL,
  hash TEXT NOT NULL
) STRICT;
CREATE INDEX batch_of_run ON batch (run_id, seq);
CREATE TABLE archive (
  run_id TEXT PRIMARY KEY REFERENCES run (run_id),
  lengths TEXT NOT NULL,
  packed BLOB NOT NULL
) STRICT;
CREATE TABLE record (
  run_id TEXT NOT NULL REFERENCES run (run_id),
  revision INTEGER NOT NULL,
  outcome TEXT NOT NULL,
  residue_pct REAL,
  body TEXT NOT NULL,
  PRIMARY KEY (run_id, revision)
) STRICT;
CREATE TABLE outbox (
  seq INTEGER PRIMARY KEY,
  message_id TEXT NOT NULL UNIQUE,
  kind TEXT NOT NULL,
  run_id TEXT NOT NULL,
  created_at TEXT NOT NULL,
  body TEXT NOT NULL,
  attempts INTEGER NOT NULL DEFAULT 0,
  last_failure TEXT,
  sent_at TEXT,
  set_aside TEXT
) STRICT;
CREATE INDEX outbox_open ON outbox (seq) WHERE sent_at IS NULL AND set_aside IS NULL;
CREATE INDEX outbox_aside ON outbox (seq) WHERE set_aside IS NOT NULL;
"""


def prepare(connection: sqlite3.Connection, path: Path) -> None:
    """Create the tables in an empty file, accept our own version, refuse any other.

    Raises StoreError.
    """
    if sqlite3.sqlite_version_info < LEAST_SQLITE:
        raise StoreError(f"SQLite {sqlite3.sqlite_version} is too old; 3.37 or newer is needed.")
    found = connection.execute("PRAGMA user_version").fetchone()[0]
    if found > VERSION:
        raise StoreError(f"{path} was written by a newer version (format {found}); this one knows {VERSION}.")
    if found == VERSION:
        return
    connection.executescript(f"BEGIN IMMEDIATE;{_TABLES}PRAGMA user_version = {VERSION};COMMIT;")


def check_whole(connection: sqlite3.Connection, path: Path) -> None:
    """SQLite's own quick check. Raises StoreError when a page is damaged."""
    try:
        found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    except sqlite3.DatabaseError as error:
        found = str(error)
    if found != "ok":
        raise StoreError(
            f"{path} is damaged ({found}). Keep the file, move it aside together with its -wal and -shm files "
            "and restore a backup, or start with an empty store."
        )
