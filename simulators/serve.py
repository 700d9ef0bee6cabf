"""Serves the virtual bench on real ports in scaled real time: bench time = real time x speed.

The bench itself knows neither clock nor loop; this shell gives it both, and takes one-line commands from a
local control port and from a stream of lines.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Iterable
from pathlib import Path

from simulators.commands import Commands
from simulators.dialects import Channel
from simulators.ports import Port, PortKind, PtyPort, TcpPort
from simulators.relay import HOLD_S
from simulators.scenarios import Arrangement, Scenario
from simulators.virtual import SECOND_NS, PermitKind, VirtualBench

PAUSE_S = 0.005
"""Between two looks at the clock. Requests are answered without waiting for it."""

CONTROL_LINE_BYTES = 1024

Clock = Callable[[], int]
"""Bench time in ns, from an arbitrary start."""

Follow = Callable[[], str | None]
"""The instruction on the screen now, None when there is none."""


class BenchServer:
    """One bench on its ports. `clock` is scaled by the caller; `speed` is needed only to time the answers."""

    def __init__(self, bench: VirtualBench, ports: dict[Channel, Port], clock: Clock, speed: float) -> None:
        self.bench = bench
        self.ports = ports
        self.commands = Commands(bench, self.plug)
        self._clock = clock
        self._speed = speed
        self._follow: Follow | None = None
        self._talking: set[asyncio.StreamWriter] = set()

    async def plug(self, port: Channel, is_in: bool) -> None:
        """Plugs a port in or out."""
        self.bench.plugged[port] = is_in
        if is_in:
            await self.ports[port].plug(lambda data: self._received(port, data))
        else:
            await self.ports[port].unplug()

    async def command(self, line: str) -> str:
        """Carries out one command at the present moment; the answer is a sentence."""
        self.pump()
        return await self.commands.do(line)

    def pump(self) -> None:
        """Lets the bench catch up with the clock, and sends what it has to say."""
        now_ns = self._clock()
        for _at_ns, port, data in self.bench.step_to(now_ns):
            self.ports[port].send(data)
        key = self._follow() if self._follow else None
        if key is not None:
            self.bench.follow(key)

    def _received(self, port: Channel, data: bytes) -> None:
        self.bench.write(port, data, max(self._clock(), self.bench.now_ns))
        due_ns = self.bench.instrument_behind(port).next_ns(self.bench.now_ns) - self._clock()
        if due_ns < PAUSE_S * SECOND_NS * self._speed:
            delay_s = max(due_ns, 0) / SECOND_NS / self._speed
            asyncio.get_running_loop().call_later(delay_s, self.pump)

    async def run(self, follow: Follow | None) -> None:
        """Runs until cancelled; unplugs the ports then."""
        self._follow = follow
        try:
            while True:
                self.pump()
                await asyncio.sleep(PAUSE_S)
        finally:
            for port in self.ports.values():
                await port.unplug()
            for writer in self._talking:
                writer.close()

    async def talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection to the control port: a line in, a sentence out (several lines for help)."""
        self._talking.add(writer)
        with contextlib.suppress(ConnectionError, ValueError):
            while line := await reader.readline():
                text = line.decode("utf-8", "replace").strip()
                if text:
                    writer.write((await self.command(text) + "\n").encode())
                    await writer.drain()
        self._talking.discard(writer)
        writer.close()

    async def listen(self, lines: AsyncIterator[str], say: Callable[[str], None]) -> None:
        """Carries out the lines of a stream, for example of a keyboard."""
        async for line in lines:
            if line.strip():
                say(await self.command(line))


def scaled_clock(speed: float) -> Clock:
    """The event loop's clock, `speed` times as fast, in ns from now on."""
    time = asyncio.get_running_loop().time
    start_s = time()
    return lambda: round((time() - start_s) * speed * SECOND_NS)


def make_ports(names: Iterable[Channel], kind: PortKind, link_dir: Path | None) -> dict[Channel, Port]:
    """Ports of the kind asked for; pseudo terminals get links of these names in `link_dir`."""
    if kind == "tcp":
        return {name: TcpPort() for name in names}
    if link_dir is None:
        raise ValueError("pseudo terminals need a folder for their links (link_dir)")
    return {name: PtyPort(link_dir / name) for name in names}


async def serve(
    scenario: Scenario | str,
    seed: int = 1,
    speed: float = 1.0,
    *,
    kind: PortKind = "pty",
    link_dir: Path | None = None,
    control: bool = True,
    on_ready: Callable[[dict[str, str]], None] = lambda _: None,
    follow: Follow | None = None,
    clock: Clock | None = None,
    lines: AsyncIterator[str] | None = None,
    say: Callable[[str], None] = lambda _: None,
    arrangement: Arrangement | None = None,
    mass_dialect: str | None = None,
    pressure_dialect: str | None = None,
    permit: PermitKind | None = None,
) -> None:
    """Serves a bench until cancelled.

    `on_ready` gets the addresses of `mass`, `pressure`, with `permit` of that, and with `control` of the
    control port ("127.0.0.1:PORT"). `follow` tells the simulated operator what the screen says; without it
    only commands move hands. `clock` gives bench time in ns and must run `speed` times as fast as real
    time; by default it is made from the loop's clock. `permit` fits the external relay, whose time-out
    stays real. `lines` are commands, each answered through `say`.
    Raises UnknownScenarioError, UnknownDialectError, and ValueError for a missing `link_dir`.
    """
    clock = clock or scaled_clock(speed)
    bench = VirtualBench(
        scenario,
        seed,
        arrangement=arrangement,
        mass_dialect=mass_dialect,
        pressure_dialect=pressure_dialect,
        permit=permit,
        relay_hold_s=HOLD_S * speed,
        start_ns=clock(),
    )
    server = BenchServer(bench, make_ports(bench.instruments, kind, link_dir), clock, speed)
    for port in server.ports:
        await server.plug(port, True)
    addresses = {str(name): port.address for name, port in server.ports.items()}
    async with contextlib.AsyncExitStack() as stack:
        if control:
            listener = await asyncio.start_server(server.talk, "127.0.0.1", 0, limit=CONTROL_LINE_BYTES)
            await stack.enter_async_context(listener)
            addresses["control"] = f"127.0.0.1:{listener.sockets[0].getsockname()[1]}"
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(server.run(follow), name="simulators.serve.run")
            if lines is not None:
                tasks.create_task(server.listen(lines, say), name="simulators.serve.listen")
            on_ready(addresses)
