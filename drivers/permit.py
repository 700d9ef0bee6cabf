"""The permit output: tells an external relay whether the suction may run. It can only stop, never start.

The relay drops out when it is told so, and by itself when no heartbeat came for its own time-out. Its contact
belongs in the holding circuit of the suction's contactor, beside the stop button: a contactor that has
fallen stays off until a hand at the rig switches it on again. A contact in place of the switch would let
the suction come back with the relay; do not wire it so. Nothing here knows a command that starts suction.

This is no safety function: a relay, its wiring and the stop button at the rig are the bench's own.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Final, Protocol

from drivers.exchange import Exchange
from drivers.instrument import LinkTiming
from drivers.link_error import LinkError
from drivers.link_keeper import LinkKeeper
from drivers.link_watch import LinkEvent
from drivers.modbus_frames import RtuFrames
from drivers.profile import SerialSettings

BEATS: Final = 5
"""Heartbeats in the relay's time-out; a lost one or two change nothing."""
STALE_S: Final = 2.0
"""A permit that nobody has said again for so long lapses: whoever decides may have died."""
OFF_ANSWER_S: Final = 0.2
"""A withdrawal is repeated this soon until the relay has answered it."""
LAST_WORDS: Final = 3
"""So often a withdrawal is tried when the output is closed, before the relay's own time-out has to do."""
SILENT_S: Final = 2.0


class RelayDialect(Protocol):
    """How one kind of relay is spoken to."""

    def request(self, on: bool) -> bytes:
        """The heartbeat, or the order to drop out."""
        ...

    def obeyed(self, on: bool, heard: bytes) -> bool:
        """Whether what was heard since `request(on)` says that the relay obeys it."""
        ...

    def complaint(self, on: bool, heard: bytes) -> str:
        """What the relay said instead, as half a sentence; empty when it said nothing of meaning."""
        ...


class LineRelay:
    """Two lines of text; the relay answers with the one that it obeys."""

    def __init__(self, on_line: str, off_line: str) -> None:
        self._lines = {True: on_line.encode("ascii"), False: off_line.encode("ascii")}

    def request(self, on: bool) -> bytes:
        """The line with carriage return and line feed."""
        return self._lines[on] + b"\r\n"

    def obeyed(self, on: bool, heard: bytes) -> bool:
        """Its own line came back; a late answer to the line before is passed over."""
        return self._lines[on] in _whole_lines(heard)

    def complaint(self, on: bool, heard: bytes) -> str:
        """The other line came."""
        if self._lines[not on] not in _whole_lines(heard):
            return ""
        return (
            "does not pull in: check what else keeps it out" if on else "does not drop out: check the relay"
        )


def _whole_lines(heard: bytes) -> list[bytes]:
    return [line.strip(b"\r ") for line in heard.split(b"\n")[:-1]]


class CoilRelay:
    """One Modbus coil: written on it is the heartbeat, written off the relay drops out."""

    def __init__(self, unit_id: int, coil: int) -> None:
        self._frames = RtuFrames()
        self._requests = {on: self._frames.write_coil(unit_id, coil, on) for on in (True, False)}

    def request(self, on: bool) -> bytes:
        """The frame."""
        return self._requests[on].frame

    def obeyed(self, on: bool, heard: bytes) -> bool:
        """The frame came back, as the specification wants it; one to another order is passed over."""
        return self._requests[on].frame in heard

    def complaint(self, on: bool, heard: bytes) -> str:
        """The exception."""
        answer = self._frames.answer(self._requests[on], heard)
        if answer is None or answer.exception is None:
            return ""
        return f"refuses the coil with exception {answer.exception}: check unit_id and coil"


class PermitOutput:
    """Keeps one relay told until cancelled; withdraws then.

    All times are real seconds. `heartbeat_s` is the relay's time-out. Until `set(True)` was called, and
    again when it was not called for two seconds, the permit is withdrawn. The link counts as good while the
    relay obeys.
    """

    def __init__(
        self,
        dialect: RelayDialect,
        port: str,
        serial: SerialSettings,
        *,
        now_ns: Callable[[], int],
        on_link: Callable[[LinkEvent], None],
        heartbeat_s: float = 5.0,
        timing: LinkTiming | None = None,
    ) -> None:
        self._dialect = dialect
        self._port = port
        self._beat_s = heartbeat_s / BEATS
        self._timing = timing or LinkTiming()
        self._keeper = LinkKeeper(port, serial, now_ns=now_ns, on_link=on_link, timing=self._timing)
        self._exchange: Exchange | None = None
        self._granted = False
        self._said_s = 0.0
        self._answered_s: float | None = None
        self._good_since_s: float | None = None

    def set(self, granted: bool) -> None:
        """What is wanted now. A change is on the wire before the event loop comes round again."""
        self._said_s = _now_s()
        if granted is not self._granted:
            self._granted = granted
            if self._exchange is not None:
                self._exchange.wake()

    def answered_age_s(self) -> float | None:
        """Real seconds since the relay last answered."""
        return None if self._answered_s is None else _now_s() - self._answered_s

    async def run(self) -> None:
        """Keeps the relay told until cancelled, then withdraws and frees the port."""
        await self._keeper.run(self._session)

    async def _session(self, exchange: Exchange) -> None:
        """One opening of the port. Returns to have it opened anew when the relay has long been silent."""
        self._exchange, opened_s, self._good_since_s = exchange, _now_s(), None
        try:
            while _now_s() - max(opened_s, self._answered_s or 0.0) < self._timing.reopen_s:
                await self._beat(exchange, opened_s)
        except asyncio.CancelledError:
            await self._last_word(exchange)
            raise
        finally:
            self._exchange = None

    async def _beat(self, exchange: Exchange, opened_s: float) -> None:
        """Says once what is wanted, and waits for the next beat or a change."""
        on, began_s = self._wanted(), _now_s()
        obeyed = await exchange.ask(
            self._dialect.request(on), self._obeyed(on), self._answer_s(on), self._is(on)
        )
        if obeyed:
            self._good(began_s)
        elif self._is(on)():
            self._not_obeyed(on, exchange.heard, opened_s)
        if obeyed or on:
            await exchange.pause(began_s + self._beat_s - _now_s(), self._is(on))

    def _obeyed(self, on: bool) -> Callable[[bytes], bool | None]:
        return lambda heard: True if self._dialect.obeyed(on, heard) else None

    def _is(self, on: bool) -> Callable[[], bool]:
        return lambda: self._wanted() is on

    def _answer_s(self, on: bool) -> float:
        return self._beat_s if on else min(self._beat_s, OFF_ANSWER_S)

    def _wanted(self) -> bool:
        return self._granted and _now_s() - self._said_s < STALE_S

    def _good(self, began_s: float) -> None:
        self._answered_s = _now_s()
        self._good_since_s = self._good_since_s or began_s
        self._keeper.good(self._answered_s - self._good_since_s)
        self._keeper.tell("up", f"The permit relay answers at {self._port}.")

    def _not_obeyed(self, on: bool, heard: bytes, opened_s: float) -> None:
        if _now_s() - max(opened_s, self._answered_s or 0.0) < SILENT_S:
            return
        self._good_since_s = None
        if complaint := self._dialect.complaint(on, heard):
            self._keeper.tell("silent", f"the relay at {self._port} answers, but {complaint}.")
        else:
            advice = "check that it is on, its cable and its settings"
            self._keeper.tell(
                "silent", f"no answer from the relay at {self._port} for {SILENT_S:g} s: {advice}."
            )

    async def _last_word(self, exchange: Exchange) -> None:
        """Withdraws while closing. A relay that does not answer even now has its own time-out."""
        with contextlib.suppress(LinkError):
            for _ in range(LAST_WORDS):
                if await exchange.ask(self._dialect.request(False), self._obeyed(False), OFF_ANSWER_S):
                    return


def _now_s() -> float:
    return asyncio.get_running_loop().time()
