"""A willing operator without a screen, for the headless demo: does what the instruction asks, when it can.

It uses the local socket as any console does, so the headless demo exercises the whole path.
"""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Mapping
from pathlib import Path

from logger.app.progress import progress
from logger.core.run.states import ENDED
from logger.core.snapshot import Snapshot
from logger.core.text import printable
from logger.service.client import ServiceClient

OPERATOR = "demo operator"
_ENDED = frozenset(state.value for state in ENDED)
HANDS_S = 8.0
"""Bench seconds that simulated hands get for what was asked."""
DRAIN_S = 20.0
"""How long to wait for the broker to take everything after the run."""


class DemoStuckError(Exception):
    """The demo cannot go on; the text says why."""


class HeadlessOperator:
    """Runs one run from start to its end. Events are told on stderr."""

    def __init__(self, socket: Path, start: Mapping[str, str], limit_s: float) -> None:
        self._client = ServiceClient(socket, retry_s=0.1)
        self._start, self._limit_s = start, limit_s
        self._told = 0
        self._refusal = ""
        self._asked, self._asked_at_s = "", 0.0

    async def run(self) -> str:
        """The run's id, once its record is written. Raises DemoStuckError."""
        watching = asyncio.create_task(self._client.run(), name="headless-operator")
        try:
            async with asyncio.timeout(self._limit_s):
                run_id = await self._work()
            await self._drain()
            return run_id
        except TimeoutError:
            raise DemoStuckError(f"The run did not end within {self._limit_s:g} s. {self._refusal}") from None
        finally:
            watching.cancel()
            await asyncio.gather(watching, return_exceptions=True)

    async def _work(self) -> str:
        started = False
        while True:
            await asyncio.sleep(0.05)
            picture = self._picture()
            if picture is None:
                continue
            self._tell(picture)
            if not started:
                started = await self._do_start(picture)
            elif picture.run is not None and picture.state in _ENDED and "start" in picture.can:
                return picture.run.run_id
            elif picture.run is not None:
                await self._do_next(picture)

    async def _do_start(self, picture: Snapshot) -> bool:
        if any(link.state != "up" for link in picture.links):
            return False
        reply = await self._client.command("start", **self._start)
        if not reply.ok:
            raise DemoStuckError(reply.text)
        return True

    async def _do_next(self, picture: Snapshot) -> None:
        if "acknowledge" in picture.can:
            await self._client.command("acknowledge", name=OPERATOR)
        elif "accept_weight" in picture.can and picture.mass.stable and self._hands_are_done(picture):
            reply = await self._client.command("accept_weight")
            self._refusal = "" if reply.ok else reply.text

    def _hands_are_done(self, picture: Snapshot) -> bool:
        """Hands need some seconds of bench time; a person would look before pressing."""
        now_s = asyncio.get_running_loop().time()
        if picture.instruction.key != self._asked:
            self._asked, self._asked_at_s = picture.instruction.key, now_s
        return now_s - self._asked_at_s > HANDS_S / picture.speed

    async def _drain(self) -> None:
        with progress("Sending to the broker") as bar:
            most = 0
            for _ in range(int(DRAIN_S / 0.1)):
                picture = self._picture()
                if picture is not None and (picture.broker.state == "off" or picture.broker.waiting == 0):
                    return
                waiting = 0 if picture is None else picture.broker.waiting
                most = max(most, waiting)
                bar.reach(most - waiting, most or None)
                await asyncio.sleep(0.1)
        print("The broker has not taken everything yet; it stays in the outbox.", file=sys.stderr)

    def _picture(self) -> Snapshot | None:
        watch = self._client.watch()
        return watch.snapshot if watch.answering else None

    def _tell(self, picture: Snapshot) -> None:
        for event in picture.events:
            if event.seq > self._told:
                self._told = event.seq
                print(printable(f"{event.utc[11:19]}  {event.text}"), file=sys.stderr)
