"""The newest head in a small file beside the store, so that a store that lost its tail is noticed at the start.

It is no outside head: whoever can write the store can write it. It finds a deleted -wal file and an older
copy put in the store's place, and keeps numbers from being given out twice afterwards.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path

from logger.core.record import ChainHead
from logger.store.chain import sha256_hex

_WIDTH = 256
"""One write within one sector: a power cut leaves the old line or the new one."""


@dataclass(frozen=True, slots=True)
class Noted:
    """The head and the last number of the outbox, as last noted."""

    head: ChainHead
    outbox: int


def head_path(store: Path) -> Path:
    """Beside the store."""
    return store.with_name(f"{store.name}.head")


def read_head_file(store: Path) -> Noted | None:
    """What was noted; None when there is no such file or it cannot be read."""
    try:
        line = head_path(store).read_text(encoding="ascii").strip()
        batch, sha256, outbox, check = line.split(" ")
        if check != sha256_hex(f"{batch} {sha256} {outbox}".encode())[:16]:
            return None
        return Noted(ChainHead(int(batch), sha256), int(outbox))
    except (OSError, ValueError):
        return None


class HeadFile:
    """Kept open by the writer. A failure to write it is no failure of the store."""

    def __init__(self, store: Path) -> None:
        """Opens or creates the file; raises nothing."""
        self._fd: int | None = None
        with contextlib.suppress(OSError):
            self._fd = os.open(head_path(store), os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o600)
            os.ftruncate(self._fd, _WIDTH)

    def note(self, noted: Noted, sync: bool) -> None:
        """Write the newest head; `sync` waits for the disk."""
        if self._fd is None:
            return
        text = f"{noted.head.batch} {noted.head.sha256} {noted.outbox}"
        line = f"{text} {sha256_hex(text.encode())[:16]}".ljust(_WIDTH - 1) + "\n"
        with contextlib.suppress(OSError):
            os.lseek(self._fd, 0, os.SEEK_SET)
            os.write(self._fd, line.encode("ascii"))
            if sync:
                os.fsync(self._fd)

    def close(self) -> None:
        """Let the file go."""
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None
