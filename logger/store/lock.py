"""One service per store: an advisory lock on a file, which the system drops when its holder dies.

A killed service therefore never blocks the next one, as a stale pid file would. The one place for other
systems' locks.
"""

from __future__ import annotations

import os
from pathlib import Path
from types import TracebackType
from typing import IO

from logger.store.errors import StoreError

try:
    import fcntl
except ImportError:  # pragma: no cover - Windows, not run here
    fcntl = None  # type: ignore[assignment]


class InstanceLock:
    """Held from construction to `release`. Raises StoreError naming the holder."""

    def __init__(self, path: Path) -> None:
        """Takes the lock on `path`, which is created when absent."""
        try:
            self._file: IO[str] = path.open("a+", encoding="ascii", errors="replace")
        except OSError as error:
            raise StoreError(
                f"{path} cannot be opened ({error.strerror}): name another folder with --data."
            ) from None
        try:
            self._lock()
        except OSError:
            self._file.seek(0)
            holder = self._file.read().strip() or "unknown"
            self._file.close()
            raise StoreError(
                f"{path.parent} is in use by another service (process {holder}): stop that one, or use --data."
            ) from None
        self._note_holder()

    def __enter__(self) -> InstanceLock:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()

    def _lock(self) -> None:
        if fcntl is not None:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _note_holder(self) -> None:
        try:
            self._file.truncate(0)
            self._file.write(str(os.getpid()))
            self._file.flush()
        except OSError:  # a full disk: the lock holds all the same, only the number is missing
            return

    def release(self) -> None:
        """Let the next service in."""
        try:
            self._file.close()
        except OSError:
            return
