"""The one writing connection, on its own thread. Everyone else hands it work or opens the file read-only.

A single writer also checkpoints; that keeps clear of SQLite's WAL-reset defect (two connections that
write or checkpoint at once, fixed in 3.51.3).
"""

from __future__ import annotations

import queue
import sqlite3
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, TypeVar

from logger.store.errors import StoreError
from logger.store.schema import check_whole, prepare

T = TypeVar("T")
Job = Callable[[sqlite3.Connection], Any]

GROUP_COMMIT_S = 0.2
"""At most this long until what was handed over is durable (0.25 s promised)."""
RETRY_S = 1.0
"""Pause after a failed commit."""
_WAKE, _END = "wake", "end"


def connect(path: Path) -> sqlite3.Connection:
    """Open for writing: WAL, every commit synced. Raises StoreError."""
    try:
        connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA busy_timeout = 5000")
        check_whole(connection, path)
        prepare(connection, path)
    except sqlite3.Error as error:
        raise StoreError(f"{path} cannot be opened for writing: {error}.") from error
    path.chmod(0o600)
    return connection


class Writer:
    """Runs jobs in order, each in a transaction of its own; calls `on_interval` for the group commit."""

    def __init__(
        self,
        path: Path,
        on_interval: Job,
        on_committed: Callable[[], None],
        on_failure: Callable[[Exception], None],
    ) -> None:
        """Opens the file (StoreError) and starts the thread.

        `on_interval` writes what is pending; `on_committed` follows once that is durable; `on_failure`
        hears of every transaction that was rolled back. All three run on the writer's thread.
        """
        self._connection = connect(path)
        self._on_interval = on_interval
        self._on_committed = on_committed
        self._on_failure = on_failure
        self._jobs: queue.SimpleQueue[tuple[Job, Future[Any]] | str] = queue.SimpleQueue()
        self._due_at: float | None = None
        self._wake = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()

    def schedule(self) -> None:
        """Something is pending: it will be committed within GROUP_COMMIT_S."""
        with self._wake:
            if self._due_at is not None:
                return
            self._due_at = time.monotonic() + GROUP_COMMIT_S
        self._jobs.put(_WAKE)

    def submit(self, job: Callable[[sqlite3.Connection], T]) -> Future[T]:
        """Run `job` in a transaction on the writer's thread; pending work is committed before it."""
        future: Future[T] = Future()
        self._jobs.put((job, future))
        return future

    def close(self) -> None:
        """Commit what is pending, close the file, end the thread."""
        self._jobs.put(_END)
        self._thread.join()

    def _run(self) -> None:
        while True:
            try:
                item = self._jobs.get(timeout=self._wait_s())
            except queue.Empty:
                self._commit_pending()
                continue
            if item == _END:
                break
            if not isinstance(item, str):
                self._serve(*item)
        self._commit_pending()
        self._connection.close()

    def _serve(self, job: Job, future: Future[Any]) -> None:
        """Pending work first, so that a job never overtakes what was handed over before it."""
        if self._due_at is not None:
            self._commit_pending()
        try:
            result = self._transaction(job)
        except Exception as error:
            future.set_exception(error)
            self._on_failure(error)
        else:
            future.set_result(result)

    def _commit_pending(self) -> None:
        with self._wake:
            self._due_at = None
        try:
            self._transaction(self._on_interval)
        except Exception as error:
            # What is pending stays with its owner; try again soon, when space may be back.
            with self._wake:
                self._due_at = time.monotonic() + RETRY_S
            self._on_failure(error)
        else:
            self._on_committed()

    def _transaction(self, job: Job) -> Any:
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            result = job(self._connection)
            self._connection.execute("COMMIT")
        except BaseException:
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise
        return result

    def _wait_s(self) -> float | None:
        with self._wake:
            return None if self._due_at is None else max(0.0, self._due_at - time.monotonic())
