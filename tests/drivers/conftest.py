"""Tests that open ports ask for `nothing_left_open`: no thread and no open file may stay behind."""

from __future__ import annotations

import gc
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from drivers import serial_transport
from tests.drivers.peers import Peer, PtyPeer, TcpPeer


def open_files() -> dict[str, str]:
    folder = Path("/proc/self/fd")
    if not folder.is_dir():
        return {}
    found = {}
    for entry in folder.iterdir():
        try:
            found[entry.name] = str(entry.readlink())
        except FileNotFoundError:  # the handle that listed the folder
            continue
    return found


@pytest.fixture
def nothing_left_open() -> Iterator[None]:
    gc.collect()
    threads, files = set(threading.enumerate()), open_files()
    yield
    gc.collect()
    until = time.monotonic() + 2.0
    while set(threading.enumerate()) - threads and time.monotonic() < until:
        time.sleep(0.01)
    assert not set(threading.enumerate()) - threads
    left = {number: target for number, target in open_files().items() if number not in files}
    assert not left


@pytest.fixture(
    params=["serial", "serial, each port with its reader", pytest.param("tcp", marks=pytest.mark.full)]
)
def peer(
    request: pytest.FixtureRequest, tmp_path: Path, nothing_left_open: None, monkeypatch: pytest.MonkeyPatch
) -> Peer:
    if request.param == "tcp":
        return TcpPeer()
    if request.param != "serial":  # as on Windows
        monkeypatch.setattr(serial_transport, "PORTS_SHARE_A_READER", False)
    return PtyPeer(tmp_path)


@pytest.fixture
def pty_peer(tmp_path: Path, nothing_left_open: None) -> PtyPeer:
    return PtyPeer(tmp_path)
