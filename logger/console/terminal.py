"""The terminal itself: can it be drawn on, what happens when it goes away, and leaving it as it was.

The one place of the console that knows signals and terminal settings; on a system without them the
guard does nothing.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from types import FrameType, TracebackType
from typing import Any, Self

GRACE_S = 1.5
"""Time for an orderly end. A terminal that takes no more output would block it for ever."""
POLL_S = 0.5
RESTORE = b"\x1b[?2004l\x1b[<u\x1b[?1049l\x1b[?25h\x1b[?1004l\x1b[0m"
"""Bracketed paste and keyboard protocol off, main screen, cursor shown, focus reports off, plain text."""
ENDED_BY_SIGNAL = 130


def why_not_drawn(environment: Mapping[str, str], encoding: str, interactive: bool) -> str:
    """The sentence that says why this terminal is not drawn on; empty when it can be."""
    if not interactive:
        return "Input or output is no terminal."
    if environment.get("TERM", "") in ("", "dumb", "unknown"):
        return "This terminal cannot be drawn on (TERM)."
    if not speaks_utf8(environment, encoding):
        return "This terminal's locale is not UTF-8."
    return ""


def speaks_utf8(environment: Mapping[str, str], encoding: str) -> bool:
    """Whether block characters and signs reach the screen.

    LC_ALL is looked at as well: Python writes UTF-8 under LC_ALL=C although the terminal may not read it.
    """
    forced = environment.get("LC_ALL", "")
    named = not forced or "UTF8" in forced.upper().replace("-", "")
    return named and encoding.lower().replace("-", "").replace("_", "") == "utf8"


class TerminalGuard:
    """Ends the program in order on SIGHUP, SIGTERM, SIGINT or when the terminal is gone.

    `end` is called once, from the main thread's signal handler or from the watching thread, and must
    only hand the wish over. If the program is still there after the grace time, the terminal is put
    back by hand and the process leaves.
    """

    def __init__(self, end: Callable[[], object]) -> None:
        self._end = end
        self._done = threading.Event()
        self._ending = threading.Event()
        self._settings: list[Any] | None = None
        self._before: dict[signal.Signals, Any] = {}

    @property
    def ended(self) -> bool:
        """Whether a signal or a lost terminal ended the program."""
        return self._ending.is_set()

    def __enter__(self) -> Self:
        self._settings = _settings()
        for name in ("SIGHUP", "SIGTERM", "SIGINT"):
            number = getattr(signal, name, None)
            if number is not None:
                self._before[number] = signal.signal(number, self._on_signal)
        threading.Thread(target=self._watch, name="watch the terminal", daemon=True).start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._done.set()
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        self._begin_end()

    def _begin_end(self) -> None:
        if self._ending.is_set():
            return
        self._ending.set()
        threading.Thread(target=self._leave_at_last, name="leave at last", daemon=True).start()
        self._end()

    def _watch(self) -> None:
        """A terminal that hung up ends the program even where SIGHUP never comes."""
        while not self._done.wait(POLL_S):
            if _hung_up(0):
                self._begin_end()
                return

    def _leave_at_last(self) -> None:
        if self._done.wait(GRACE_S):
            return
        with contextlib.suppress(Exception):
            self._put_back()
        os._exit(ENDED_BY_SIGNAL)

    def _put_back(self) -> None:
        if sys.platform == "win32":
            return
        import termios

        os.set_blocking(1, False)
        with contextlib.suppress(OSError):
            os.write(1, RESTORE)
        if self._settings is not None:
            termios.tcsetattr(0, termios.TCSANOW, self._settings)


def takes_more(descriptor: int) -> bool:
    """Whether the terminal has taken what was written: false while a slow link is behind."""
    if sys.platform == "win32":
        return True
    import select

    try:
        poll = select.poll()
        poll.register(descriptor, select.POLLOUT)
        return bool(poll.poll(0))
    except (OSError, ValueError):
        return True


@contextlib.contextmanager
def hidden(descriptor: int) -> Iterator[None]:
    """What is typed at this terminal is not shown, except its line's end. Nothing is done to what is none."""
    before = _settings(descriptor)
    if before is None or sys.platform == "win32":
        yield
        return
    import termios

    quiet = [*before]
    quiet[3] = (quiet[3] & ~termios.ECHO) | termios.ECHONL
    termios.tcsetattr(descriptor, termios.TCSADRAIN, quiet)
    try:
        yield
    finally:
        with contextlib.suppress(termios.error, OSError):
            termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def _settings(descriptor: int = 0) -> list[Any] | None:
    if sys.platform == "win32":
        return None
    import termios

    try:
        return termios.tcgetattr(descriptor)
    except (termios.error, OSError):
        return None


def _hung_up(descriptor: int) -> bool:
    """Whether the other end of this terminal is gone. Takes no input away."""
    if sys.platform == "win32" or (not os.isatty(descriptor) and not _is_lost_tty(descriptor)):
        return False
    import select

    poll = select.poll()
    poll.register(descriptor, 0)
    return any(event & (select.POLLHUP | select.POLLERR | select.POLLNVAL) for _, event in poll.poll(0))


def _is_lost_tty(descriptor: int) -> bool:
    """A terminal whose other end closed no longer says that it is one: it answers EIO."""
    import errno

    if sys.platform == "win32":
        return False
    import termios

    try:
        termios.tcgetattr(descriptor)
    except termios.error as error:
        return bool(error.args and error.args[0] in (errno.EIO, errno.EBADF))
    return False
