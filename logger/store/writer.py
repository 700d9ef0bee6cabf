"""The one writing connection, on its own thread. Everyone else hands it work or opens the file read-only.

A single writer also checkpoints; that keeps clear of SQLite's WAL-reset defect (two connections that
write or checkpoint at once, fixed in 3.51.3).

A transaction counts only when its commit was confirmed. After an error of the disk nothing the connection
believes is trusted: the file is opened anew and checked, the log is written over into the file, and what
the failed transaction may have left is taken back, before anything else is written.
"""

from __future__ import annotations

import contextlib
import queue
import sqlite3
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path
from typing import Any, TypeVar

from logger.store.due import Due
from logger.store.errors import StoreError, as_store_error, is_disk_error
from logger.store.head_file import HeadFile, Noted
from logger.store.marks import Marks, holds, read_marks, take_back
from logger.store.opening import connect

T = TypeVar("T")
Job = Callable[[sqlite3.Connection], Any]

GROUP_COMMIT_S = 0.2
"""At most this long until what was handed over is written (0.25 s promised, with the disk's own time)."""
RETRY_S = 0.5
"""Pause after a failed commit."""
_WAKE, _END = "wake", "end"


class WriterHooks:
    """What the owner of pending work does; all of it on the writer's thread."""

    def write_pending(self, connection: sqlite3.Connection) -> None:
        """Write what is pending, inside a transaction."""

    def committed(self) -> None:
        """What `write_pending` wrote is durable."""

    def failed(self, error: Exception) -> None:
        """A transaction did not become durable and was rolled back."""

    def recovered(self) -> None:
        """The first group commit after a failure is durable."""


class Writer:
    """Runs jobs in order, each in a transaction of its own, and the group commits between them."""

    def __init__(self, path: Path, connection: sqlite3.Connection, hooks: WriterHooks) -> None:
        """Takes over the connection (see `opening.open_store`) and starts the thread."""
        self.path = path
        self._connection, self._hooks = connection, hooks
        self._marks = read_marks(connection)
        self._head_file = HeadFile(path)
        self._note(self._marks, sync=True)
        self._jobs: queue.SimpleQueue[tuple[Job, Future[Any], bool] | str] = queue.SimpleQueue()
        self._due = Due()
        self._distrusted = self._failing = False
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()

    def schedule(self) -> None:
        """Something is pending: it will be committed within GROUP_COMMIT_S."""
        if self._due.set(time.monotonic() + GROUP_COMMIT_S):
            self._jobs.put(_WAKE)

    def submit(self, job: Callable[[sqlite3.Connection], T], *, after_pending: bool = True) -> Future[T]:
        """Run `job` in a transaction on the writer's thread. The future fails with StoreError.

        With `after_pending` it never overtakes what was handed over before it: pending work is committed
        first, and the job fails when that fails.
        """
        future: Future[T] = Future()
        if self._thread.is_alive():
            self._jobs.put((job, future, after_pending))
        else:
            future.set_exception(self._closed())
        return future

    def close(self) -> None:
        """Commit what is pending, close the file, end the thread."""
        self._jobs.put(_END)
        self._thread.join()

    def _run(self) -> None:
        while True:
            try:
                item = self._jobs.get(timeout=self._due.wait_s(time.monotonic()))
            except queue.Empty:
                item = _WAKE
            if item == _END:
                break
            self._work(item)
        self._commit_pending()
        self._end()

    def _work(self, item: tuple[Job, Future[Any], bool] | str) -> None:
        if not isinstance(item, str):
            self._serve(*item)
        elif self._due.wait_s(time.monotonic()) == 0.0:
            self._commit_pending()

    def _end(self) -> None:
        self._note(self._marks, sync=True)
        self._head_file.close()
        with contextlib.suppress(sqlite3.Error):
            self._connection.close()
        with contextlib.suppress(queue.Empty):
            while True:
                item = self._jobs.get_nowait()
                if not isinstance(item, str) and item[1].set_running_or_notify_cancel():
                    item[1].set_exception(self._closed())

    def _closed(self) -> StoreError:
        return StoreError(f"{self.path} was closed.")

    def _serve(self, job: Job, future: Future[Any], after_pending: bool) -> None:
        if not future.set_running_or_notify_cancel():
            return
        try:
            if after_pending and self._due.is_set:
                self._commit_pending(tell=True)
            result = self._transaction(job)
        except Exception as error:
            if isinstance(error, StoreError):
                self._try_again_soon()
            self._hooks.failed(error)
            future.set_exception(error)
        else:
            future.set_result(result)

    def _commit_pending(self, tell: bool = False) -> None:
        """`tell` raises what went wrong as well as reporting it."""
        self._due.clear()
        try:
            self._transaction(self._write_pending)
        except Exception as error:
            # What is pending stays with its owner, whatever is wrong with it or the disk; and that is told.
            self._try_again_soon()
            fault = (
                error if isinstance(error, StoreError) else StoreError(f"a fault of the program: {error!r}")
            )
            if tell:
                raise fault from error
            self._hooks.failed(fault)
            return
        self._call(self._hooks.committed)
        if self._failing:
            self._failing = False
            self._call(self._hooks.recovered)

    def _write_pending(self, connection: sqlite3.Connection) -> None:
        self._hooks.write_pending(connection)
        if self._failing:  # also when nothing waits: only a write shows that the disk can be written again
            connection.execute("INSERT OR REPLACE INTO meta VALUES ('tried_at', ?)", (str(time.time()),))

    def _try_again_soon(self) -> None:
        self._failing = True
        self._due.set(time.monotonic() + RETRY_S)

    def _call(self, hook: Callable[[], None]) -> None:
        """What is durable stays so, whatever a listener does with the news."""
        try:
            hook()
        except Exception as error:
            self._hooks.failed(error)

    def _transaction(self, job: Job) -> Any:
        """Raises StoreError for what the disk or SQLite refuse, and whatever `job` raises."""
        try:
            if self._distrusted:
                self._open_anew()
            return self._committed(job)
        except sqlite3.Error as error:
            self._distrusted = self._distrusted or is_disk_error(error)
            raise as_store_error(self.path, error) from error

    def _committed(self, job: Job) -> Any:
        connection = self._connection
        try:
            connection.execute("BEGIN IMMEDIATE")
            result = job(connection)
            marks = read_marks(connection)
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                with contextlib.suppress(sqlite3.Error):
                    connection.execute("ROLLBACK")
            self._distrusted = self._distrusted or connection.in_transaction
            raise
        if marks != self._marks:
            self._note(marks, sync=(marks.run, marks.record) != (self._marks.run, self._marks.record))
            self._marks = marks
        return result

    def _open_anew(self) -> None:
        with contextlib.suppress(sqlite3.Error):
            self._connection.close()
        self._connection = connect(self.path)
        # The log may hold frames that were written but never confirmed, and nothing may be appended to
        # those: first everything is copied into the file itself, which is synced on its own.
        busy = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        if busy:
            raise StoreError(
                f"{self.path} is being read by another program; it is opened again when that ends."
            )
        if not holds(self._connection, self._marks):
            raise StoreError(
                f"{self.path} has lost what it had confirmed; end the service and restore a backup."
            )
        take_back(self._connection, self._marks)
        self._distrusted = False

    def _note(self, marks: Marks, sync: bool) -> None:
        self._head_file.note(Noted(marks.head, marks.outbox), sync)
