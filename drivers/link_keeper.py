"""Looks after one port that is asked: finds the device, opens it, notices its end, opens it again."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Awaitable, Callable

from drivers.backoff import BackOff
from drivers.exchange import Exchange
from drivers.instrument import LinkTiming
from drivers.link_error import LinkError, LinkTrouble
from drivers.link_watch import LinkEvent, LinkState
from drivers.port_lock import device_present
from drivers.ports import list_ports, ports_sentence, resolve_port
from drivers.profile import SerialSettings
from drivers.serial_transport import SerialTransport
from drivers.tcp_transport import TcpTransport
from drivers.transport import Transport, TransportHooks, tcp_address

Session = Callable[[Exchange], Awaitable[None]]
"""What is done with one opening of the port. It returns to have the port opened anew."""


class LinkKeeper:
    """One port over all its openings.

    `port` is a device path, `serial:NUMBER` or `socket://HOST:PORT`. `now_ns` is called in another thread
    too. `on_link` runs on the event loop and is told changes only.
    """

    def __init__(
        self,
        port: str,
        serial: SerialSettings,
        *,
        now_ns: Callable[[], int],
        on_link: Callable[[LinkEvent], None],
        timing: LinkTiming,
    ) -> None:
        self._port = port
        self._serial = serial
        self._now_ns = now_ns
        self._on_link = on_link
        self._timing = timing
        self._back_off = BackOff(timing.back_off)
        self._last_told: tuple[LinkState, str] | None = None

    async def run(self, session: Session) -> None:
        """Opens the port again and again until cancelled, then frees it."""
        while True:
            device = await self._find_device()
            await self._wait_for_turn()
            await self._open(device, session)

    def good(self, good_for_s: float) -> None:
        """The link has been good for so long without a break."""
        self._back_off.good(good_for_s)

    def tell(self, state: LinkState, text: str) -> None:
        """Reports a state of the link unless it is the one that was reported last."""
        if (state, text) != self._last_told:
            self._last_told = (state, text)
            self._on_link(LinkEvent(self._now_ns(), state, text))

    async def _find_device(self) -> str:
        """Looks for the device as often as wanted: looking is not an attempt."""
        while True:
            try:
                device = resolve_port(self._port)
                if tcp_address(device) is not None or device_present(device):
                    return device
                found = ports_sentence(list_ports())
                raise LinkError(LinkTrouble.ABSENT, f"port {self._port} is not there: {found}")
            except LinkError as error:
                self._tell_unopened(error)
            await asyncio.sleep(self._timing.look_s)

    async def _wait_for_turn(self) -> None:
        loop = asyncio.get_running_loop()
        await asyncio.sleep(self._back_off.wait_s(loop.time()))
        self._back_off.attempted(loop.time(), random.random())

    async def _open(self, device: str, session: Session) -> None:
        exchange = Exchange()
        transport = self._transport(device, exchange)
        try:
            await transport.open()
        except LinkError as error:
            self._tell_unopened(error)
            return
        try:
            exchange.begin(transport)
            await session(exchange)
        except LinkError as error:
            self.tell("lost", error.sentence)
        finally:
            await transport.close()

    def _transport(self, device: str, exchange: Exchange) -> Transport:
        hooks = TransportHooks(self._now_ns, exchange.on_data, exchange.on_lost)
        address = tcp_address(device)
        if address is not None:
            return TcpTransport(device, address, hooks, self._timing.connect_s)
        return SerialTransport(device, self._serial, hooks)

    def _tell_unopened(self, error: LinkError) -> None:
        """A device that was just lost is known to be away; anything else is news."""
        just_lost = self._last_told is not None and self._last_told[0] == "lost"
        if not (just_lost and error.trouble is LinkTrouble.ABSENT):
            self.tell("absent", error.sentence)
