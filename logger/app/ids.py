"""Ids that sort by the time they were made: UUID version 7 (RFC 9562, section 5.7)."""

from __future__ import annotations

import secrets
import threading
import time
import uuid


class UuidV7:
    """Implements the IdSource port. Ids of one source rise strictly, also within a millisecond."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._last = 0

    def new_id(self) -> str:
        """48 bits of Unix milliseconds, 74 random bits; the last id plus one where the clock stood still."""
        with self._lock:
            stamp = (time.time_ns() // 1_000_000) << 80
            value = stamp | (0x7 << 76) | (secrets.randbits(12) << 64) | (0b10 << 62) | secrets.randbits(62)
            self._last = max(value, self._last + 1)
            return str(uuid.UUID(int=self._last))
