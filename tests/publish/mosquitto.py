"""Debian's mosquitto as a child process, for the tests that need a second, independent broker."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import time
from pathlib import Path
from types import TracebackType

from tests.real import require_binary


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def as_this_user() -> str:
    """mosquitto gives root away to a user that cannot read a test's folder."""
    return "user root\n" if os.geteuid() == 0 else ""


class Mosquitto:
    """One broker, whose configuration survives `kill` and `start`. Skips the test when not installed."""

    def __init__(self, folder: Path, lines: str = "allow_anonymous true\n", port: int | None = None) -> None:
        self.program = require_binary("mosquitto")
        self.port = port or free_port()
        self.log = folder / "mosquitto.log"
        self.config = folder / "mosquitto.conf"
        listener = "" if "listener " in lines else f"listener {self.port} 127.0.0.1\n"
        self.config.write_text(listener + as_this_user() + lines, encoding="utf-8")
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> Mosquitto:
        with self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [self.program, "-c", str(self.config)], stdout=log, stderr=log, stdin=subprocess.DEVNULL
            )
        deadline = time.monotonic() + 5.0
        while time.monotonic() < deadline:
            assert self._process.poll() is None, self.log.read_text(encoding="utf-8")
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 0.2):
                return self
            time.sleep(0.02)
        raise AssertionError(self.log.read_text(encoding="utf-8"))

    def signal(self, number: signal.Signals) -> None:
        assert self._process is not None
        self._process.send_signal(number)

    def kill(self) -> None:
        """kill -9, and gone when this returns."""
        if self._process is not None:
            self.signal(signal.SIGKILL)
            self._process.wait(5)
            self._process = None

    def stop(self) -> None:
        if self._process is not None:
            self.signal(signal.SIGCONT)
            self._process.terminate()
            self._process.wait(5)
            self._process = None

    def __enter__(self) -> Mosquitto:
        return self.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


def passwords(folder: Path, **names: str) -> Path:
    """A password file made by mosquitto's own tool."""
    path = folder / "passwords"
    path.touch(mode=0o600)
    tool = require_binary("mosquitto_passwd")
    for name, word in names.items():
        user = name.replace("_", "-")
        subprocess.run([tool, "-b", str(path), user, word], check=True, capture_output=True)
    return path
