"""A serial port, owned from opening to closing by a thread of its own, which opens, writes and closes it.

Bytes are stamped where they arrive, on the reader thread that the ports of a bench share (`port_reader`), or on the
port's own where a system cannot do that. Reading waits for the event loop only when the loop has fallen so far behind
that `MOST_PENDING_BYTES` wait for it; then the operating system's buffer holds the rest.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
import time
from collections import deque
from typing import Final

import serial

from drivers.hand_over import HandOver, Lane
from drivers.link_error import LinkError, lost_error, open_error
from drivers.port_io import PORTS_SHARE_A_READER, read_alone, read_now, write_now
from drivers.port_lock import PORT_ERRORS, is_pseudo_terminal, locked_device
from drivers.port_reader import READ_TIMEOUT_S
from drivers.profile import SerialSettings
from drivers.transport import TransportHooks

WRITE_TIMEOUT_S: Final = 1.0
"""A request that the port does not take in this time means a dead link."""
MOST_PENDING_BYTES: Final = 4 * 1024 * 1024
"""Over a minute of 2,000 lines/s while the event loop is busy with something else."""
FULL_PAUSE_S: Final = 0.01
"""Short enough for the operating system's buffers of the other ports (4 kB are 100 ms at 2,000 lines/s)."""

_PARITIES: Final = {"none": serial.PARITY_NONE, "even": serial.PARITY_EVEN, "odd": serial.PARITY_ODD}


class SerialTransport:
    """One opening of one serial device. `hand_over` may be shared by the ports of one event loop."""

    def __init__(
        self, port: str, settings: SerialSettings, hooks: TransportHooks, hand_over: HandOver | None = None
    ) -> None:
        self._port = port
        self._settings = settings
        self._hooks = hooks
        self._stop = threading.Event()
        self._called = threading.Event()
        self._failure: Exception | None = None
        self.descriptor = -1
        self._guard = threading.Lock()
        self._serial: serial.Serial | None = None
        self._outgoing: deque[bytes] = deque()
        self._hand_over = hand_over or HandOver()
        self._lane = Lane(hooks)
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._opened: asyncio.Future[None] | None = None
        self._ended: asyncio.Future[None] | None = None

    async def open(self) -> None:
        """Locks and opens the device in its thread. Raises LinkError."""
        self._loop = asyncio.get_running_loop()
        self._opened = self._loop.create_future()
        self._ended = self._loop.create_future()
        self._hand_over.add(self._lane)
        self._thread = threading.Thread(target=self._run, name=f"port {self._port}", daemon=True)
        self._thread.start()
        try:
            await asyncio.shield(self._opened)
        except BaseException:
            await self.close()
            raise

    def write(self, data: bytes) -> None:
        """Sends what the port takes at once; the thread sends the rest and reports a failure."""
        with self._guard:
            if self._serial is not None and not self._outgoing:
                data = data[write_now(self._serial, data) :]
            if data:
                self._outgoing.append(data)
        if data:
            self._wake()

    def collect(self) -> None:
        """Hands on what has arrived since the last batch; when nothing has, the next bytes do not wait."""
        self._lane.collect()

    async def close(self) -> None:
        """Stops the thread, which closes the port, and waits for it."""
        self._stop.set()
        self._hand_over.remove(self._lane)
        self._wake()
        if self._ended is not None:
            await asyncio.shield(self._ended)
        if self._thread is not None:
            self._thread.join()

    def _wake(self) -> None:
        self._called.set()
        with self._guard:
            if self._serial is not None and not PORTS_SHARE_A_READER:
                self._serial.cancel_read()

    # in the thread

    def _run(self) -> None:
        failure: LinkError | None = None
        try:
            with locked_device(self._port):
                failure = self._serve()
        except LinkError as error:
            failure = error
        except Exception as error:  # pyserial's ValueError too: whoever opens must be told
            failure = open_error(self._port, error)
        self._post(self._finish, failure)

    def _serve(self) -> LinkError | None:
        port = self._open_port()
        with self._guard:
            self._serial = port
        self._post(self._report_open)
        failure: LinkError | None = None
        try:
            if PORTS_SHARE_A_READER:
                self._attend(port)
            else:
                self._read_alone(port)
        except Exception as error:  # whatever it was: the port is freed, and its end reported
            failure = lost_error(self._port, error)
        with self._guard:
            self._serial = None
        with contextlib.suppress(*PORT_ERRORS):  # it may be gone; the failure that led here is kept
            port.close()
        return failure

    def _open_port(self) -> serial.Serial:
        return serial.Serial(
            self._port,
            baudrate=self._settings.baud,
            bytesize=self._settings.bytesize,
            parity=_PARITIES["none" if is_pseudo_terminal(self._port) else self._settings.parity],
            stopbits=self._settings.stopbits,
            xonxoff=self._settings.xonxoff,
            rtscts=self._settings.rtscts,
            timeout=READ_TIMEOUT_S,
            write_timeout=WRITE_TIMEOUT_S,
            exclusive=True,
        )

    def _attend(self, port: serial.Serial) -> None:
        """Writes what the port did not take at once, while the shared thread reads."""
        self.descriptor = port.fileno()
        self._hand_over.reader.add(self)
        try:
            while not self._stop.is_set():
                self._called.wait()
                self._called.clear()
                if self._failure is not None:
                    raise self._failure
                self._write_rest(port)
        finally:
            self._hand_over.reader.remove(self)

    def _read_alone(self, port: serial.Serial) -> None:
        while not self._stop.is_set():
            self._write_rest(port)
            if self._is_full():
                continue
            data = read_alone(port)
            if data:
                self._arrived(data)
            else:
                self.quiet()

    def _write_rest(self, port: serial.Serial) -> None:
        while self._outgoing:
            port.write(self._outgoing.popleft())

    # in the thread that reads

    def read_ready(self) -> None:
        """Bytes have arrived. Raises OSError when the port is gone."""
        if self._is_full():
            return
        data = read_now(self.descriptor)
        if data:
            self._arrived(data)

    def quiet(self) -> None:
        """Nothing has arrived for a while."""
        if self._lane.waiting_bytes:
            self._deliver_soon()

    def gone(self, error: Exception) -> None:
        """The port can no longer be read."""
        self._failure = error
        self._called.set()

    def _is_full(self) -> bool:
        """After a short rest, in which nothing is read at any port."""
        full = self._lane.waiting_bytes > MOST_PENDING_BYTES
        if full:
            time.sleep(FULL_PAUSE_S)
        return full

    def _arrived(self, data: bytes) -> None:
        if self._lane.put(data):
            self._deliver_soon()

    def _deliver_soon(self) -> None:
        if self._hand_over.ask():
            self._post(self._hand_over.deliver)

    def _post(self, call: object, *arguments: object) -> None:
        assert self._loop is not None
        try:
            self._loop.call_soon_threadsafe(call, *arguments)  # type: ignore[arg-type]
        except RuntimeError:
            self._stop.set()  # the loop has been closed; nobody is left to be told
            self._called.set()

    # on the loop

    def _report_open(self) -> None:
        if self._opened is not None and not self._opened.done():
            self._opened.set_result(None)

    def _finish(self, failure: LinkError | None) -> None:
        assert self._opened is not None
        assert self._ended is not None
        stopped = self._stop.is_set()
        if not stopped:
            self._lane.deliver()
        self._hand_over.remove(self._lane)
        self._ended.set_result(None)
        if not self._opened.done():
            if failure is None:
                self._opened.cancel()
            else:
                self._opened.set_exception(failure)
        elif failure is not None and not stopped:
            self._hooks.on_lost(failure)
