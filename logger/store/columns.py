"""Whole numbers as planes of bytes: all lowest bytes, then all next ones. Small differences compress best so."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def to_planes(values: Sequence[int]) -> bytes:
    """Signed whole numbers below 2^62 in size; raises OverflowError beyond."""
    numbers = np.array(values, dtype=np.int64)
    if numbers.size and max(abs(min(values)), abs(max(values))) >= 1 << 62:
        raise OverflowError("number too large for a column")
    folded = ((numbers << 1) ^ (numbers >> 63)).astype("<u8")
    planes = folded.view(np.uint8).reshape(-1, 8).T
    used = max((place + 1 for place in range(8) if planes.size and planes[place].any()), default=0)
    return bytes([used]) + len(values).to_bytes(8, "little") + planes[:used].tobytes()


def from_planes(data: bytes) -> list[int]:
    """The numbers again. Raises ValueError when the length does not fit."""
    used, count = data[0], int.from_bytes(data[1:9], "little")
    if used > 8 or len(data) != 9 + used * count:
        raise ValueError("a column has the wrong length")
    planes = np.zeros((8, count), dtype=np.uint8)
    planes[:used] = np.frombuffer(data, dtype=np.uint8, offset=9).reshape(used, count)
    folded = np.ascontiguousarray(planes.T).view("<u8").reshape(-1)
    numbers = (folded >> np.uint64(1)).astype(np.int64) ^ -(folded & np.uint64(1)).astype(np.int64)
    found: list[int] = numbers.tolist()
    return found
