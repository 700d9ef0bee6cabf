"""One thread that waits for the bytes of a bench's line instruments, so that lines that come together cost one wake-up.

A port is only closed once the thread no longer waits for it (`remove` returns).
"""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable
from typing import Final, Protocol

from drivers.port_io import wait_ready

READ_TIMEOUT_S: Final = 0.2
"""After so long without a byte at any port, what waits for the next line waits no longer."""


class Readable(Protocol):
    """A port as the thread sees it. All methods are called on that thread, and none may wait for long.

    What `read_ready` or `quiet` raises ends the reading of this port alone.
    """

    @property
    def descriptor(self) -> int:
        """What to wait for."""
        ...

    def read_ready(self) -> None:
        """Bytes have arrived."""
        ...

    def quiet(self) -> None:
        """Nothing has arrived for a while."""
        ...

    def gone(self, error: Exception) -> None:
        """The port is no longer waited for."""
        ...


class PortReader:
    """Runs while it has ports. `add` and `remove` may be called from any thread but its own."""

    def __init__(self) -> None:
        self._turn = threading.Condition(threading.RLock())
        self._ports: dict[int, Readable] = {}
        self._changed = False
        self._thread: threading.Thread | None = None
        self._bell = (-1, -1)

    def add(self, port: Readable) -> None:
        """Waits for this port too, from now on. Raises OSError when the system has no room for that."""
        with self._turn:
            self._changed = True
            if self._thread is None:
                self._start()
            else:
                os.write(self._bell[1], b"+")
            self._ports[port.descriptor] = port  # last: a port that could not be added is not waited for

    def remove(self, port: Readable) -> None:
        """Returns when the port is no longer waited for."""
        with self._turn:
            thread = self._thread
            self._ports.pop(port.descriptor, None)
            if thread is None:
                return
            self._changed = True
            os.write(self._bell[1], b"-")
            self._turn.wait_for(lambda: not self._changed)
            ended = self._thread is not thread
        if ended:
            thread.join()

    def _start(self) -> None:
        self._bell = os.pipe()
        thread = threading.Thread(target=self._run, name="port reader", daemon=True)
        try:
            thread.start()
        except RuntimeError as error:
            self._close_bell()
            raise OSError(errno.EAGAIN, str(error)) from None
        self._thread = thread

    def _close_bell(self) -> None:
        for end in self._bell:
            os.close(end)

    def _run(self) -> None:
        try:
            self._read_all()
        except Exception as error:
            self._give_up(error)

    def _read_all(self) -> None:
        ports: dict[int, Readable] = {}
        while True:
            if self._changed:
                ports = self._next_turn()
                if not ports:
                    return
            ready = wait_ready((self._bell[0], *ports), READ_TIMEOUT_S)
            for descriptor in ready:
                if descriptor in ports:
                    self._call(ports[descriptor], ports[descriptor].read_ready)
                else:
                    os.read(self._bell[0], 1024)
            if not ready:
                for port in ports.values():
                    self._call(port, port.quiet)

    def _next_turn(self) -> dict[int, Readable]:
        """The ports as they are now; without any, the thread ends."""
        with self._turn:
            self._changed = False
            if not self._ports:
                self._thread = None
                self._close_bell()
            self._turn.notify_all()
            return dict(self._ports)

    def _call(self, port: Readable, what: Callable[[], None]) -> None:
        try:
            what()
        except Exception as error:
            with self._turn:
                if self._ports.get(port.descriptor) is port:
                    del self._ports[port.descriptor]
                self._changed = True
            port.gone(error)

    def _give_up(self, error: Exception) -> None:
        """Waiting itself failed: every port is told, and opens anew."""
        with self._turn:
            ports, self._ports = self._ports, {}
            self._next_turn()
        for port in ports.values():
            port.gone(error)
