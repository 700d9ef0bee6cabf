"""One Modbus RTU instrument that looks after its own link, over a serial line or as RTU framing over TCP."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from typing import Final

from drivers.exchange import Exchange
from drivers.instrument import LinkTiming
from drivers.link_keeper import LinkKeeper
from drivers.link_watch import LinkEvent, Verdict
from drivers.modbus_codec import decode, number_in, refused_reading
from drivers.modbus_frames import RtuFrames
from drivers.modbus_profile import ModbusProfile, Span
from drivers.modbus_watch import ModbusWatch, refusal_words
from drivers.profile import LineProfile, SerialSettings
from drivers.reading import Reading
from drivers.transport import TCP_SCHEME

FRAME_GAP_CHARACTERS: Final = 3.5
"""Silence on the line that ends a frame; a request that comes sooner belongs to the answer before it for a
strict instrument. With it the least time (MODBUS over serial line 1.02, from memory)."""
CHARACTER_BITS: Final = 11
LEAST_GAP_S: Final = 0.00175


def frame_gap_s(serial: SerialSettings) -> float:
    """Silence between an answer and the next request."""
    return max(LEAST_GAP_S, FRAME_GAP_CHARACTERS * CHARACTER_BITS / serial.baud)


class ModbusInstrument:
    """Reads one instrument at one port until cancelled; made and used like a LineInstrument.

    `identity` is the serial number that the bench file expects, as digits; empty for any. An instrument
    with another number gives no readings. `others` are the line profiles of the neighbours, to tell
    swapped ports. The callbacks run on the event loop; what they raise ends `run`.
    """

    def __init__(
        self,
        profile: ModbusProfile,
        port: str,
        *,
        now_ns: Callable[[], int],
        on_readings: Callable[[Sequence[Reading]], None],
        on_link: Callable[[LinkEvent], None],
        speed: float = 1.0,
        others: Sequence[LineProfile] = (),
        timing: LinkTiming | None = None,
        identity: str = "",
    ) -> None:
        self.unanswered = 0
        self._profile = profile
        self._identity = identity
        self._on_readings = on_readings
        self._timing = timing or LinkTiming()
        self._period_s = profile.period_s / speed
        self._keeper = LinkKeeper(port, profile.serial, now_ns=now_ns, on_link=on_link, timing=self._timing)
        self._watch = ModbusWatch(profile, port, others, period_s=self._period_s)
        self._frames = RtuFrames()
        self._value_span, self._status_span = profile.spans
        identity_span = None if profile.identity is None else profile.identity.span
        self._requests = {
            span: self._frames.read_registers(profile.unit_id, span)
            for span in (self._value_span, self._status_span, identity_span)
            if span is not None
        }
        self._line_free_s = 0.0
        self._gap_s = 0.0 if port.startswith(f"{TCP_SCHEME}://") else frame_gap_s(profile.serial)

    async def run(self) -> None:
        """Reads until cancelled, then frees the port."""
        await self._keeper.run(self._session)

    async def _session(self, exchange: Exchange) -> None:
        """One opening of the port: who is there, then readings on a fixed beat."""
        loop = asyncio.get_running_loop()
        self._watch.opened(loop.time())
        known, due_s = False, loop.time()
        try:
            while loop.time() - self._watch.quiet_since_s < self._timing.reopen_s:
                known = (known or await self._identify(exchange)) and await self._read(exchange)
                self._keeper.good(self._watch.good_for_s(loop.time()))
                due_s = max(due_s + self._period_s, loop.time())
                await exchange.pause(due_s - loop.time())
        finally:
            self._keeper.good(self._watch.good_for_s(loop.time()))
            self._watch.closed()

    async def _identify(self, exchange: Exchange) -> bool:
        """Reads the serial number, where there is one. True when the instrument may be read."""
        register = self._profile.identity
        if register is None:
            return True
        words = await self._registers(exchange, register.span)
        if words is None:
            return False
        found = str(number_in(register, words))
        if self._identity and found != self._identity:
            self._tell(self._watch.stranger(found, self._identity))
            await exchange.pause(self._timing.look_s)
            return False
        self._watch.identity = found
        return True

    async def _read(self, exchange: Exchange) -> bool:
        """One reading. False when the instrument did not answer: it may be another one when it does."""
        span, status = self._value_span, self._profile.status
        words = await self._registers(exchange, span)
        at_ns = exchange.heard_ns
        if words is None:
            return False
        flags = None if status is None else span.words(status.register.span, words)
        if self._status_span is not None:
            flags = await self._registers(exchange, self._status_span)
            if flags is None:
                return False
        value = span.words(self._profile.value.span, words)
        decoded = decode(self._profile, value, flags[0] if flags else None, at_ns)
        self._on_readings([decoded.reading])
        now_s = asyncio.get_running_loop().time()
        if decoded.trouble:
            self._tell(self._watch.unusable(decoded.trouble, now_s))
        else:
            self._tell(self._watch.answered(now_s))
        return True

    async def _registers(self, exchange: Exchange, span: Span) -> tuple[int, ...] | None:
        """The words of a span; None when there was no answer or an exception, which is told.

        `exchange.heard_ns` is then the time of the answer.
        """
        request = self._requests[span]
        rest_s = self._line_free_s - asyncio.get_running_loop().time()
        if rest_s > 0:
            await asyncio.sleep(rest_s)
        answer = await exchange.ask(
            request.frame, lambda heard: self._frames.answer(request, heard), self._timing.answer_s
        )
        now_s = asyncio.get_running_loop().time()
        self._line_free_s = now_s + self._gap_s
        if answer is None:
            self.unanswered += 1
            self._tell(self._watch.unanswered(exchange.heard, now_s))
            return None
        if answer.exception is not None:
            self._on_readings([refused_reading(self._profile, answer.exception, exchange.heard_ns)])
            self._tell(self._watch.unusable(refusal_words(answer.exception, span), now_s))
            return None
        return answer.registers

    def _tell(self, verdict: Verdict | None) -> None:
        if verdict is not None:
            self._keeper.tell(verdict.state, verdict.text)
