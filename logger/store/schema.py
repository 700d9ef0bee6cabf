"""Tables and their version. A file from a newer version is refused untouched; an older one is migrated."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from types import MappingProxyType
from urllib.parse import quote

from logger.store.errors import StoreError, as_store_error

VERSION = 2
APPLICATION_ID = 0x6C_67_72_6E
LEAST_SQLITE = (3, 37, 0)
"""STRICT tables came with 3.37."""

_SECRETS = """
-- Hashed passwords, by the register's entry that set them. In no chain, no export and no answer: the entry has
-- the fingerprint.
CREATE TABLE secret (
  entry INTEGER PRIMARY KEY,
  person_id TEXT NOT NULL,
  encoded TEXT NOT NULL
) STRICT;
CREATE TABLE attempt (
  person_id TEXT PRIMARY KEY,
  failures INTEGER NOT NULL,
  failed_at TEXT NOT NULL
) STRICT;
-- The sample of a record, for what was tested before; a damaged body has none.
CREATE INDEX record_sample ON record
  (CASE WHEN json_valid(body) THEN json_extract(body, '$.sample.sample_id') END);
"""

TABLES = f"""
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
  packed INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX run_unpacked ON run (number) WHERE packed = 0;
-- One group commit. `before` is the hash of the batch before it.
CREATE TABLE batch (
  seq INTEGER PRIMARY KEY,
  run_id TEXT NOT NULL REFERENCES run (run_id),
  at_ns INTEGER NOT NULL,
  utc TEXT NOT NULL,
  events TEXT NOT NULL,
  readings BLOB NOT NULL,
  before TEXT NOT NULL,
  hash TEXT NOT NULL
) STRICT;
CREATE INDEX batch_of_run ON batch (run_id, seq);
-- Batches of a finished run in a row, packed. `hash` is that of the last; `marks` are the first two bytes of each.
CREATE TABLE stretch (
  first_seq INTEGER PRIMARY KEY,
  last_seq INTEGER NOT NULL,
  run_id TEXT NOT NULL REFERENCES run (run_id),
  before TEXT NOT NULL,
  hash TEXT NOT NULL,
  marks BLOB NOT NULL,
  packed BLOB NOT NULL
) STRICT;
CREATE INDEX stretch_of_run ON stretch (run_id, first_seq);
-- Batches that are known to have been lost. `hash` is that of the last of them, '' when unknown.
CREATE TABLE gap (
  first_seq INTEGER PRIMARY KEY,
  last_seq INTEGER NOT NULL,
  hash TEXT NOT NULL,
  noticed_at TEXT NOT NULL,
  reason TEXT NOT NULL
) STRICT;
CREATE TABLE record (
  run_id TEXT NOT NULL REFERENCES run (run_id),
  revision INTEGER NOT NULL,
  outcome TEXT NOT NULL,
  residue_pct REAL,
  body TEXT NOT NULL,
  PRIMARY KEY (run_id, revision)
) STRICT;
-- The sieve of a record, for its count of runs; a damaged body has none.
CREATE INDEX record_sieve ON record (CASE WHEN json_valid(body) THEN json_extract(body, '$.sieve.id') END);
-- Entries about equipment. A chain of its own, since they belong to no run; `before` as in batch.
CREATE TABLE register (
  seq INTEGER PRIMARY KEY,
  entry TEXT NOT NULL,
  before TEXT NOT NULL,
  hash TEXT NOT NULL
) STRICT;
CREATE TABLE outbox (
  seq INTEGER PRIMARY KEY,
  message_id TEXT NOT NULL UNIQUE,
  kind TEXT NOT NULL,
  run_id TEXT NOT NULL,
  created_at TEXT NOT NULL,
  body TEXT NOT NULL,
  body_sha256 TEXT NOT NULL,
  attempts INTEGER NOT NULL DEFAULT 0,
  last_failure TEXT,
  sent_at TEXT,
  set_aside TEXT
) STRICT;
CREATE INDEX outbox_open ON outbox (seq) WHERE sent_at IS NULL AND set_aside IS NULL;
CREATE INDEX outbox_aside ON outbox (seq) WHERE set_aside IS NOT NULL;
CREATE INDEX outbox_record ON outbox (run_id, seq) WHERE kind = 'record';
{_SECRETS}"""

Migrations = Mapping[int, str]
MIGRATIONS: Migrations = MappingProxyType({1: _SECRETS})
"""Statements that bring a file from the version that is the key to the next one."""


def read_only(path: Path) -> sqlite3.Connection:
    """A connection that cannot write. Raises sqlite3.Error.

    SQLite makes files beside a store that it reads. Where that is not allowed (a write-protected medium, a
    folder for reading) and no log of a running service lies there, the store is read as one that nobody changes.
    """
    kept = (
        ""
        if os.access(path.parent, os.W_OK) or path.with_name(f"{path.name}-wal").exists()
        else "&immutable=1"
    )
    connection = sqlite3.connect(f"file:{quote(str(path))}?mode=ro{kept}", uri=True, isolation_level=None)
    connection.execute("PRAGMA busy_timeout = 5000")
    return connection


def found_version(connection: sqlite3.Connection, path: Path, version: int = VERSION) -> int:
    """The file's format, 0 for an empty file. Raises StoreError for a newer one and for another program's."""
    found = int(connection.execute("PRAGMA user_version").fetchone()[0])
    owner = int(connection.execute("PRAGMA application_id").fetchone()[0])
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and owner != APPLICATION_ID:
        raise StoreError(f"{path} was not written by Lastgrain; name another folder with --data.")
    if found > version:
        raise StoreError(
            f"{path} was written by a newer version (format {found}); this one knows {version}. "
            "It was not touched: use the newer version, or another folder with --data."
        )
    return found


def check_version(path: Path, version: int = VERSION) -> None:
    """Look before anything is written. Raises StoreError, also when the file is no SQLite file."""
    try:
        with closing(read_only(path)) as connection:
            found_version(connection, path, version)
    except sqlite3.Error as error:
        raise as_store_error(path, error) from error


def prepare(
    connection: sqlite3.Connection, path: Path, version: int = VERSION, migrations: Migrations = MIGRATIONS
) -> None:
    """Create the tables in an empty file, accept our own version, migrate an older one, refuse any other.

    A migration is one transaction with the new version number in it, and a backup is made first, beside
    the file. Raises StoreError, sqlite3.Error.
    """
    if sqlite3.sqlite_version_info < LEAST_SQLITE:
        raise StoreError(f"SQLite {sqlite3.sqlite_version} is too old; 3.37 or newer is needed.")
    found = found_version(connection, path, version)
    if found == version:
        return
    if found == 0:
        steps = f"{TABLES}PRAGMA application_id = {APPLICATION_ID};"
    else:
        _back_up(connection, path.with_name(f"{path.name}.format-{found}"))
        steps = "".join(migrations[number] for number in range(found, version))
    try:
        connection.executescript(f"BEGIN IMMEDIATE;{steps}PRAGMA user_version = {version};COMMIT;")
    except sqlite3.Error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _back_up(connection: sqlite3.Connection, to: Path) -> None:
    to.unlink(missing_ok=True)
    with closing(sqlite3.connect(to)) as copy:
        connection.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")
    to.chmod(0o600)


def check_whole(connection: sqlite3.Connection) -> str:
    """SQLite's own quick check: what it found, "" when every page is in order."""
    try:
        found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
    except sqlite3.DatabaseError as error:
        found = str(error)
    return "" if found == "ok" else str(found)
