"""The virtual rig as a program: prints its ports, takes commands, and can follow a service's screen.

The simulated operator does what hands do at a real rig (lift the sieve, switch the suction). It sees only
the instruction that the service shows, through the same local socket as any watcher.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import sys
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from logger.app.paths import DataFolder
from logger.app.signals import until_signal
from logger.service.client import ServiceClient
from simulators import serve as rig
from simulators.dialects import UnknownDialectError
from simulators.scenarios import UnknownScenarioError, find_scenario
from simulators.virtual import USUAL_PRESSURE_DIALECT, check_pressure_dialect


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulateOptions:
    """`follow` is the data folder or local socket of the service whose instruction the simulated hands carry out."""

    scenario: str
    seed: int
    speed: float
    ports: Literal["pty", "tcp"]
    link_dir: Path | None
    arrangement: Literal["beside", "under"] | None
    pressure_dialect: str | None = None
    permit: Literal["line", "modbus"] | None = None
    follow: Path | None
    json_out: bool
    keyboard: bool


def simulate(options: SimulateOptions) -> int:
    """Serves until a signal. Returns the exit code."""
    try:
        find_scenario(options.scenario)
        check_pressure_dialect(options.pressure_dialect or USUAL_PRESSURE_DIALECT)
    except (UnknownScenarioError, UnknownDialectError) as error:
        print(error, file=sys.stderr)
        return 2
    return asyncio.run(_simulate(options))


async def _simulate(options: SimulateOptions) -> int:
    screen = None if options.follow is None else _Screen(service_socket(options.follow))
    follow: Callable[[], str | None] | None = None if screen is None else screen.instruction
    lines = _keyboard_lines() if options.keyboard else None
    jobs = [
        rig.serve(
            options.scenario,
            options.seed,
            options.speed,
            kind=options.ports,
            link_dir=options.link_dir,
            on_ready=lambda ports: _say_ready(ports, options),
            follow=follow,
            lines=lines,
            say=print,
            arrangement=options.arrangement,
            pressure_dialect=options.pressure_dialect,
            permit=options.permit,
        )
    ]
    if screen is not None:
        jobs.append(screen.run())
    await until_signal(jobs)
    return 0


def service_socket(follow: Path) -> Path:
    """A service is named by its data folder, as everywhere, or by its socket."""
    return DataFolder(follow).socket if follow.is_dir() else follow


def _say_ready(ports: dict[str, str], options: SimulateOptions) -> None:
    if options.json_out:
        print(json.dumps(ports), flush=True)
        return
    print(f"Virtual rig: scenario {options.scenario}, seed {options.seed}, speed {options.speed:g}.")
    for name, address in ports.items():
        print(f"  {name:9} {address}")
    if options.keyboard:
        print("Type a command for hands or faults (help lists them); Ctrl-C ends.", flush=True)


class _Screen:
    """What the service shows, as the simulated operator reads it."""

    def __init__(self, socket: Path) -> None:
        self._client = ServiceClient(socket)

    async def run(self) -> None:
        """Keeps watching; a service that goes away leaves the hands with the last instruction."""
        await self._client.run()

    def instruction(self) -> str | None:
        """The key of the instruction now; None before the service was seen."""
        picture = self._client.watch().snapshot
        return None if picture is None else picture.instruction.key


async def _keyboard_lines() -> AsyncIterator[str]:
    """Lines of standard input until it ends."""
    reader = asyncio.StreamReader()
    loop = asyncio.get_running_loop()
    with contextlib.suppress(OSError, ValueError):
        await loop.connect_read_pipe(lambda: asyncio.StreamReaderProtocol(reader), sys.stdin)
        while line := await reader.readline():
            yield line.decode(errors="replace")
