"""Bytes in and out of an open port without pyserial's bookkeeping a byte, and what differs between systems there."""

from __future__ import annotations

import errno
import os
import select
import sys
from typing import Final

import serial

MOST_AT_ONCE_BYTES: Final = 64 * 1024


def write_now(port: serial.Serial, data: bytes) -> int:
    """Writes what the system takes without waiting; says how many bytes, 0 when it takes none or fails."""
    if sys.platform == "win32":
        return 0
    try:
        return os.write(port.fileno(), data)
    except OSError:
        return 0


def read_when_ready(port: serial.Serial, longest_s: float) -> bytes:
    """What has arrived, waiting for it: empty when nothing came in time, or when `cancel_read` ended the wait.

    Raises OSError when the port is gone. Windows waits for the time-out that the port was opened with.
    """
    if sys.platform == "win32":
        data = bytes(port.read(1))
        return data + bytes(port.read(port.in_waiting)) if data else b""
    device, cancelled = port.fileno(), port.pipe_abort_read_r
    assert cancelled is not None, "the port is open"
    ready = select.select((device, cancelled), (), (), longest_s)[0]
    if cancelled in ready:
        os.read(cancelled, MOST_AT_ONCE_BYTES)
        return b""
    return _read_ready(device) if ready else b""


def _read_ready(device: int) -> bytes:
    try:
        data = os.read(device, MOST_AT_ONCE_BYTES)
    except BlockingIOError:  # the system had spoken too soon
        return b""
    if not data:
        raise OSError(errno.EIO, "ready, and then nothing to read: the other end is gone")
    return data
