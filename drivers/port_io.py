"""Bytes in and out of an open port without pyserial's bookkeeping a byte, and what differs between systems there."""

from __future__ import annotations

import errno
import os
import select
import sys
from collections.abc import Sequence
from typing import Final

import serial

MOST_AT_ONCE_BYTES: Final = 64 * 1024
PORTS_SHARE_A_READER: Final = sys.platform != "win32"
"""Whether one thread can wait for several ports. If not, each is read by `read_alone`."""


def write_now(port: serial.Serial, data: bytes) -> int:
    """Writes what the system takes without waiting; says how many bytes, 0 when it takes none or fails."""
    if sys.platform == "win32":
        return 0
    try:
        return os.write(port.fileno(), data)
    except OSError:
        return 0


def wait_ready(descriptors: Sequence[int], longest_s: float) -> list[int]:
    """Those that can be read, waiting for the first."""
    return select.select(descriptors, (), (), longest_s)[0]


def read_now(descriptor: int) -> bytes:
    """What has arrived at a port that is ready. Raises OSError when the port is gone."""
    try:
        data = os.read(descriptor, MOST_AT_ONCE_BYTES)
    except BlockingIOError:  # the system had spoken too soon
        return b""
    if not data:
        raise OSError(errno.EIO, "ready, and then nothing to read: the other end is gone")
    return data


def read_alone(port: serial.Serial) -> bytes:
    """What has arrived, waiting for it as long as the port's time-out: empty when nothing came."""
    data = bytes(port.read(1))
    return data + bytes(port.read(port.in_waiting)) if data else b""
