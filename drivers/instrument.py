"""One line instrument that looks after its own link: opens, asks, reads, notices, reopens."""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from drivers.backoff import BackOff, BackOffPolicy
from drivers.hand_over import HandOver
from drivers.line_codec import LineCodec
from drivers.link_error import LinkError, LinkTrouble
from drivers.link_watch import LinkEvent, LinkState, LinkWatch, Verdict
from drivers.port_lock import device_present
from drivers.ports import list_ports, ports_sentence, resolve_port
from drivers.profile import LineProfile, Mode
from drivers.reading import Reading
from drivers.serial_transport import SerialTransport
from drivers.tcp_transport import TcpTransport
from drivers.transport import Chunk, Transport, TransportHooks, tcp_address


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkTiming:
    """Real seconds, whatever the speed of the bench clock."""

    look_s: float = 1.0
    """How often a device that is not there is looked for."""
    answer_s: float = 1.0
    """After so long without an answer a polled instrument is asked again."""
    garbage_s: float = 5.0
    """After so long with unreadable lines only, the settings are questioned."""
    reopen_s: float = 20.0
    """After so long without a good line the port is closed and opened again; a half-open connection
    never heals by waiting."""
    connect_s: float = 5.0
    tick_s: float = 0.2
    """How often a silent link is looked at; a good one only when it could have become silent."""
    batch_s: float = 0.1
    """Lines that follow each other sooner may be handed on together, in a fast stream two and two; bench time,
    the stamps are exact."""
    least_batch_s: float = 0.02
    """However fast the stream, the event loop is not woken more often; bench time."""
    back_off: BackOffPolicy = field(default_factory=BackOffPolicy)


class LineInstrument:
    """Reads one instrument at one port until cancelled.

    `port` is a device path, `serial:NUMBER` or `socket://HOST:PORT`. `now_ns` is the bench clock, which
    runs `speed` times as fast as real time; it is called in another thread. The callbacks run on the event
    loop; what they raise ends `run`. `others` are the profiles of the neighbours, to tell swapped ports;
    `hand_over` is shared with them, so that they share wake-ups of the loop.
    """

    def __init__(
        self,
        profile: LineProfile,
        port: str,
        *,
        now_ns: Callable[[], int],
        on_readings: Callable[[Sequence[Reading]], None],
        on_link: Callable[[LinkEvent], None],
        speed: float = 1.0,
        others: Sequence[LineProfile] = (),
        timing: LinkTiming | None = None,
        hand_over: HandOver | None = None,
    ) -> None:
        self.codec = LineCodec(profile)
        self.unanswered = 0
        self._profile = profile
        self._port = port
        self._now_ns = now_ns
        self._on_readings = on_readings
        self._on_link = on_link
        self._period_s = profile.period_s / speed
        self._timing = timing or LinkTiming()
        self._batch_s = batch_wait_s(profile.period_s, self._timing) / speed
        self._hand_over = hand_over or HandOver()
        self._back_off = BackOff(self._timing.back_off)
        self._watch = LinkWatch(
            profile, port, others, period_s=self._period_s, garbage_s=self._timing.garbage_s
        )
        self._answered = asyncio.Event()
        self._over: asyncio.Future[None] | None = None
        self._last_told: tuple[LinkState, str] | None = None

    async def run(self) -> None:
        """Reads until cancelled, then frees the port."""
        while True:
            device = await self._find_device()
            await self._wait_for_turn()
            await self._session(device)

    async def _find_device(self) -> str:
        """Looks for the device as often as wanted: looking is not an attempt."""
        while True:
            try:
                device = resolve_port(self._port)
                if tcp_address(device) is not None or device_present(device):
                    return device
                raise LinkError(
                    LinkTrouble.ABSENT, f"port {self._port} is not there: {ports_sentence(list_ports())}"
                )
            except LinkError as error:
                self._tell_unopened(error)
            await asyncio.sleep(self._timing.look_s)

    async def _wait_for_turn(self) -> None:
        now_s = asyncio.get_running_loop().time()
        await asyncio.sleep(self._back_off.wait_s(now_s))
        self._back_off.attempted(asyncio.get_running_loop().time(), random.random())

    async def _session(self, device: str) -> None:
        """One opening of the port, from open to close."""
        loop = asyncio.get_running_loop()
        self._over = loop.create_future()
        self.codec.reset()
        self._watch.opened(loop.time())
        transport = self._transport(device)
        try:
            await transport.open()
        except LinkError as error:
            self._tell_unopened(error)
            return
        try:
            await self._serve(transport, self._over)
        except LinkError as error:
            self._back_off.good(self._watch.good_for_s(loop.time()))
            self._watch.closed()
            self._tell("lost", error.sentence)
        finally:
            await transport.close()
            if self._over.done():
                self._over.exception()  # seen: a failure during closing is not reported again

    def _transport(self, device: str) -> Transport:
        line_end = self._profile.terminator[-1:]
        hooks = TransportHooks(self._now_ns, self._on_data, self._on_lost, self._batch_s, line_end)
        address = tcp_address(device)
        if address is not None:
            return TcpTransport(device, address, hooks, self._timing.connect_s)
        return SerialTransport(device, self._profile.serial, hooks, self._hand_over)

    async def _serve(self, transport: Transport, over: asyncio.Future[None]) -> None:
        """Asks and watches until the link is over. Raises LinkError when it was lost."""
        loop = asyncio.get_running_loop()
        polling = loop.create_task(self._poll(transport), name=f"ask {self._port}")
        polling.add_done_callback(self._polling_ended)
        try:
            while (now_s := loop.time()) - self._watch.quiet_since_s < self._timing.reopen_s:
                pause_s = max(self._timing.tick_s, self._watch.silent_at_s - now_s)
                await asyncio.wait((over,), timeout=pause_s)
                if over.done():
                    return over.result()
                self._back_off.good(self._watch.good_for_s(now_s))
                self._judge(self._watch.tick(loop.time()))
        finally:
            polling.cancel()
            await asyncio.wait((polling,))

    async def _poll(self, transport: Transport) -> None:
        """Asks on a fixed beat, the next time not before the answer or its time-out."""
        if self._profile.mode is Mode.STREAMED:
            return
        loop = asyncio.get_running_loop()
        due_s = loop.time()
        while True:
            self._answered.clear()
            transport.write(self.codec.request_bytes())
            asked_s = loop.time()
            due_s = max(due_s + self._period_s, asked_s)
            await asyncio.sleep(min(due_s, asked_s + self._timing.answer_s) - asked_s)
            if not await self._has_answered(transport, asked_s + self._timing.answer_s):
                self.unanswered += 1
                due_s = loop.time()
            if (rest_s := due_s - loop.time()) > 0:
                await asyncio.sleep(rest_s)

    async def _has_answered(self, transport: Transport, until_s: float) -> bool:
        transport.collect()
        if not self._answered.is_set():
            transport.collect()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout_at(until_s):
                    await self._answered.wait()
        return self._answered.is_set()

    def _polling_ended(self, polling: asyncio.Task[None]) -> None:
        if not polling.cancelled() and (error := polling.exception()) is not None:
            self._end(error)

    def _on_data(self, chunks: Sequence[Chunk]) -> None:
        counters = self.codec.counters
        before = counters.fragments
        for data, at_ns in chunks:
            self.codec.receive(data, at_ns)
        readings = self.codec.readings()
        if readings or counters.fragments != before:
            self._answered.set()
        try:
            if readings:
                self._on_readings(readings)
            now_s = asyncio.get_running_loop().time()
            self._judge(self._watch.heard(chunks, readings, self.codec.wrong_unit, now_s))
        except Exception as error:
            self._end(error)

    def _on_lost(self, error: LinkError) -> None:
        self._end(error)

    def _end(self, error: BaseException) -> None:
        if self._over is not None and not self._over.done():
            self._over.set_exception(error)

    def _judge(self, verdict: Verdict | None) -> None:
        if verdict is not None:
            self._tell(verdict.state, verdict.text)

    def _tell_unopened(self, error: LinkError) -> None:
        """A device that was just lost is known to be away; anything else is news."""
        just_lost = self._last_told is not None and self._last_told[0] == "lost"
        if not (just_lost and error.trouble is LinkTrouble.ABSENT):
            self._tell("absent", error.sentence)

    def _tell(self, state: LinkState, text: str) -> None:
        if (state, text) != self._last_told:
            self._last_told = (state, text)
            self._on_link(LinkEvent(self._now_ns(), state, text))


def batch_wait_s(period_s: float, timing: LinkTiming) -> float:
    """How long after a batch the next may not begin. Half a period more than one: so every second line is handed
    on at once, the one before it has waited a period and no longer, and an uneven beat does not change that."""
    return min(timing.batch_s, max(timing.least_batch_s, 1.5 * period_s))
