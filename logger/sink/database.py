"""SQLite or PostgreSQL behind one small seam: a transaction, and two kinds of failure."""

from __future__ import annotations

import contextlib
import re
import sqlite3
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from logger.sink.tables import VERSION, statements

if TYPE_CHECKING:
    import psycopg

T = TypeVar("T")
_POSTGRES = re.compile(r"postgres(?:ql)?://", re.ASCII)
_LOCK_WAIT_S = 5.0


class DatabaseAway(Exception):  # noqa: N818 - it says what happened
    """It cannot be reached or written now; nothing was kept, and trying again may help."""


class DatabaseRefuses(Exception):  # noqa: N818 - it says what happened
    """It will not take this; trying the same again would not help."""


class WrongDatabase(Exception):  # noqa: N818 - it says what is found
    """It is not this sink's, or of a newer version. The text says what to do."""


class Cursor(Protocol):
    """SQL with `?` for values, whatever the database."""

    def run(self, sql: str, values: Sequence[Any] = ()) -> int:
        """How many rows changed."""
        ...

    def run_many(self, sql: str, rows: Iterable[Sequence[Any]]) -> None:
        """The same for many rows."""
        ...

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """What it selects."""
        ...


class Database(Protocol):
    """One connection, made anew after a failure. All calls block, one at a time."""

    lock: str
    """What a SELECT ends in to keep other sinks from a row until the transaction ends."""

    def transaction(self, work: Callable[[Cursor], T]) -> T:
        """All of the work or nothing. Raises DatabaseAway, DatabaseRefuses, WrongDatabase."""
        ...

    def close(self) -> None:
        """Let go; safe to call twice."""
        ...


def open_database(name: str) -> Database:
    """SQLite for a file name, PostgreSQL for postgresql://... Nothing is opened yet. Raises WrongDatabase."""
    if not _POSTGRES.match(name):
        return SqliteDatabase(Path(name))
    try:
        import psycopg  # noqa: F401
    except ImportError:
        raise WrongDatabase(
            "PostgreSQL needs the extra `sink`: install Lastgrain with its [sink] extra."
        ) from None
    return PostgresDatabase(name)


def _prepare(cursor: Cursor, dialect: str, tables: set[str]) -> None:
    """Make the tables where there are none, accept ours, refuse others."""
    if "sink" in tables:
        found = cursor.rows("SELECT version FROM sink")
        if found != [(VERSION,)]:
            raise WrongDatabase(f"its tables are of version {found}; this sink knows {VERSION}. Use another.")
        return
    clash = sorted(tables & {"bench", "gap", "message", "record", "event", "reading", "set_aside"})
    if clash:
        raise WrongDatabase(f"it has tables of others ({', '.join(clash)}): give the sink one of its own.")
    for statement in statements(dialect):
        cursor.run(statement)
    cursor.run("INSERT INTO sink (version) VALUES (?)", (VERSION,))


class _SqliteCursor:
    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def run(self, sql: str, values: Sequence[Any] = ()) -> int:
        return self._connection.execute(sql, values).rowcount

    def run_many(self, sql: str, rows: Iterable[Sequence[Any]]) -> None:
        self._connection.executemany(sql, rows)

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        return self._connection.execute(sql, values).fetchall()


class SqliteDatabase:
    """A file. The disk's word is waited for at each commit."""

    lock = ""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._connection: sqlite3.Connection | None = None

    def transaction(self, work: Callable[[Cursor], T]) -> T:
        """All of the work or nothing."""
        try:
            connection = self._connection or self._open()
            connection.execute("BEGIN IMMEDIATE")
            try:
                done = work(_SqliteCursor(connection))
                connection.execute("COMMIT")
                return done
            except BaseException:
                if connection.in_transaction:
                    connection.execute("ROLLBACK")
                raise
        except (sqlite3.OperationalError, sqlite3.InternalError) as error:
            self.close()
            raise DatabaseAway(f"{self._path}: {error}") from error
        except sqlite3.DatabaseError as error:
            if "not a database" in str(error):
                raise WrongDatabase(f"{self._path} is no SQLite file.") from error
            raise DatabaseRefuses(str(error)) from error
        except OverflowError as error:
            raise DatabaseRefuses(str(error)) from error

    def _open(self) -> sqlite3.Connection:
        connection = sqlite3.connect(
            self._path, timeout=_LOCK_WAIT_S, isolation_level=None, check_same_thread=False
        )
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("BEGIN IMMEDIATE")
            cursor = _SqliteCursor(connection)
            found = cursor.rows("SELECT name FROM sqlite_master WHERE type IN ('table', 'view')")
            try:
                _prepare(cursor, "sqlite", {str(row[0]) for row in found})
            except WrongDatabase as error:
                raise WrongDatabase(f"{self._path}: {error}") from None
            connection.execute("COMMIT")
        except BaseException:
            connection.close()
            raise
        self._connection = connection
        return connection

    def close(self) -> None:
        """Let go; safe to call twice."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None


class _PostgresCursor:
    def __init__(self, connection: psycopg.Connection[Any]) -> None:
        self._cursor = connection.cursor()

    def run(self, sql: str, values: Sequence[Any] = ()) -> int:
        self._cursor.execute(sql.replace("?", "%s").encode(), values or None)
        return self._cursor.rowcount

    def run_many(self, sql: str, rows: Iterable[Sequence[Any]]) -> None:
        self._cursor.executemany(sql.replace("?", "%s").encode(), rows)

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        return self._cursor.execute(sql.replace("?", "%s").encode(), values or None).fetchall()


class PostgresDatabase:
    """A server. Password by PGPASSWORD or a password file, as its own tools read them."""

    lock = " FOR UPDATE"

    def __init__(self, url: str) -> None:
        self._url = url
        self._connection: psycopg.Connection[Any] | None = None

    def transaction(self, work: Callable[[Cursor], T]) -> T:
        """All of the work or nothing."""
        import psycopg

        try:
            connection = self._connection or self._open()
            with connection.transaction():
                return work(_PostgresCursor(connection))
        except (psycopg.OperationalError, psycopg.InterfaceError, psycopg.InternalError) as error:
            self.close()
            raise DatabaseAway(_one_line(error)) from error
        except psycopg.Error as error:
            raise DatabaseRefuses(_one_line(error)) from error

    def _open(self) -> psycopg.Connection[Any]:
        import psycopg

        connection = psycopg.connect(self._url, autocommit=True, connect_timeout=5)
        try:
            with connection.transaction():
                cursor = _PostgresCursor(connection)
                # Two sinks may start at once; only one makes the tables.
                cursor.run("SELECT pg_advisory_xact_lock(7461823)")
                found = cursor.rows("SELECT tablename FROM pg_tables WHERE schemaname = current_schema()")
                _prepare(cursor, "postgresql", {str(row[0]) for row in found})
        except BaseException:
            connection.close()
            raise
        self._connection = connection
        return connection

    def close(self) -> None:
        """Let go; safe to call twice."""
        if self._connection is not None:
            with contextlib.suppress(Exception):
                self._connection.close()
            self._connection = None


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split()) or type(error).__name__
