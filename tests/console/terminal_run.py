"""The console in a real pseudo terminal, for tests that only a terminal can make."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Self

TRICKLE_S = 0.05
ROOT = Path(__file__).resolve().parents[2]
PROGRAM = (
    "import sys; from pathlib import Path; from logger.console.entry import run_console;"
    "raise SystemExit(run_console(Path(sys.argv[1]), 'j.tester'))"
)


class TerminalRun:
    """A console process on a pty. `text` holds everything that it wrote."""

    def __init__(
        self,
        socket_path: Path,
        *,
        size: tuple[int, int] = (80, 24),
        ignore_hup: bool = False,
        env: Mapping[str, str] | None = None,
    ) -> None:
        self.master, self._slave = pty.openpty()
        self.resize(*size, tell=False)
        self.before = termios.tcgetattr(self._slave)
        self.text = ""
        self.process = subprocess.Popen(
            [sys.executable, "-c", PROGRAM, str(socket_path)],
            stdin=self._slave,
            stdout=self._slave,
            stderr=self._slave,
            cwd=ROOT,
            env=_environment(env or {}),
            start_new_session=True,
            preexec_fn=_own_terminal_without_hup if ignore_hup else _own_terminal,
        )

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for descriptor in (self.master, self._slave):
            with contextlib.suppress(OSError):
                os.close(descriptor)

    def resize(self, columns: int, rows: int, *, tell: bool = True) -> None:
        """Gives the terminal another size."""
        fcntl.ioctl(self._slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        if tell:
            self.process.send_signal(signal.SIGWINCH)

    def hang_up(self) -> None:
        """Closes this end, as a closed window or a dropped connection does."""
        os.close(self._slave)
        os.close(self.master)

    def type(self, text: str) -> None:
        """Keys."""
        os.write(self.master, text.encode("utf-8"))

    def wait_for(self, words: str, seconds: float = 30.0) -> str:
        """Reads until the words were written; returns what was read."""
        started = len(self.text)
        deadline = time.monotonic() + seconds
        while words not in self.text[started:]:
            left = deadline - time.monotonic()
            if left <= 0:
                raise AssertionError(f"{words!r} was not written in {seconds} s: {self.text[-2000:]!r}")
            self.read(left)
        return self.text[started:]

    def read(self, seconds: float) -> None:
        """Reads what comes within this time."""
        if not select.select([self.master], [], [], seconds)[0]:
            return
        with contextlib.suppress(OSError):
            self.text += os.read(self.master, 65536).decode("utf-8", "replace")

    def drain(self, seconds: float) -> None:
        """Reads all the time for so long, so that the program is never held up."""
        deadline = time.monotonic() + seconds
        while (left := deadline - time.monotonic()) > 0:
            self.read(left)

    def trickle(self, seconds: float, bytes_per_s: int, words: str = "") -> bool:
        """Reads for so long no faster than this; true as soon as the words were written."""
        started, deadline = len(self.text), time.monotonic() + seconds
        while time.monotonic() < deadline:
            time.sleep(TRICKLE_S)
            if select.select([self.master], [], [], 0)[0]:
                data = os.read(self.master, int(bytes_per_s * TRICKLE_S))
                self.text += data.decode("utf-8", "replace")
            if words and words in self.text[started:]:
                return True
        return False

    def end(self, seconds: float) -> int:
        """Exit code, within this time."""
        deadline = time.monotonic() + seconds
        while self.process.poll() is None:
            if time.monotonic() > deadline:
                raise AssertionError(f"still running after {seconds} s")
            with contextlib.suppress(OSError, ValueError):
                self.read(0.02)
            time.sleep(0.01)
        return self.process.returncode

    def cpu_s(self) -> float:
        """CPU seconds used so far."""
        fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _own_terminal() -> None:
    """Makes the pty the controlling terminal: only then does its end send SIGHUP."""
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def _own_terminal_without_hup() -> None:
    _own_terminal()
    signal.signal(signal.SIGHUP, signal.SIG_IGN)


def _environment(changes: Mapping[str, str]) -> dict[str, str]:
    # COLUMNS and LINES would hide the terminal's own size (test runners set them).
    left_out = ("NO_COLOR", "COLUMNS", "LINES")
    plain = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith("LC_") and name not in left_out
    }
    return plain | {"TERM": "xterm-256color", "LANG": "C.UTF-8"} | dict(changes)


@contextlib.contextmanager
def fake_service(path: Path, *arguments: str) -> Iterator[None]:
    """The fake service in a process of its own."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.console.serve_fake", str(path), *arguments], cwd=ROOT
    )
    try:
        deadline = time.monotonic() + 10
        while not path.exists():
            assert time.monotonic() < deadline, "the fake service did not start"
            time.sleep(0.02)
        yield
    finally:
        process.kill()
        process.wait()
