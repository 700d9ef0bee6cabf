"""The publisher: keeps a connection to the broker and the outbox moving, until it is stopped.

It subscribes to nothing: no path leads from the broker to an instrument. It stands beside the run: no
state of the broker, and no error here, reaches acquisition.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
from typing import Any

from logger.core.backoff import Retry, RetryRules
from logger.core.ports import Outbox
from logger.core.snapshot import BrokerView
from logger.publish.board import Board
from logger.publish.client import open_link
from logger.publish.desk import Desk, WallTime
from logger.publish.errors import ConnectFailed, LinkLost, PublishError
from logger.publish.reasons import drops_sentence
from logger.publish.session import Session
from logger.publish.settings import BrokerSettings
from logger.publish.topics import Topics

_LOG = logging.getLogger("lastgrain.publish")
_COUNT_EVERY_S = 1.0
_COUNT_MANY_EVERY_S = 10.0
_MANY = 10_000
"""Counting a very long backlog each second would cost more than sending it."""
_SUSPICIOUS_DROPS = 3


class Publisher:
    """One bench's way to the plant. Raises ValueError when site or bench cannot be topic levels.

    Waits and time-outs are real seconds, whatever the speed of the bench clock; `clock` is asked only
    for the wall time.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        site: str,
        bench: str,
        outbox: Outbox,
        clock: WallTime,
        *,
        rules: RetryRules | None = None,
    ) -> None:
        self._retry = Retry(rules)
        self._board = Board(settings)
        self._wordless_drops = 0
        self._desk = Desk(
            settings=settings,
            topics=Topics(site, bench),
            outbox=outbox,
            clock=clock,
            board=self._board,
            rules=self._retry.rules,
        )

    def set_live(self, body: dict[str, Any]) -> None:
        """The picture of the moment (fields of LiveBody); sent at once, at most one a second, when connected."""
        self._desk.live.put(body, asyncio.get_running_loop().time())

    def view(self) -> BrokerView:
        """For the console."""
        return self._board.view(asyncio.get_running_loop().time())

    async def run(self) -> None:
        """Publishes until cancelled; then says offline and disconnects."""
        counting = asyncio.create_task(self._count_backlog(), name="publisher backlog count")
        try:
            while True:
                slow = await self._one_connection()
                await self._pause(slow)
        finally:
            counting.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await counting

    async def _pause(self, slow: bool) -> None:
        now_s = asyncio.get_running_loop().time()
        wait_s = self._retry.wait_s(now_s, random.random(), slow=slow)
        self._board.next_try(now_s + wait_s)
        await asyncio.sleep(wait_s)

    async def _one_connection(self) -> bool:
        """Connects and works until it ends; True when only a person can help."""
        self._retry.attempted(asyncio.get_running_loop().time())
        self._board.connecting()
        try:
            await self._connected()
        except PublishError as error:
            if isinstance(error, ConnectFailed):
                self._wordless_drops = 0
            refused = error.refused if isinstance(error, ConnectFailed) else error.slow
            self._board.down(error.sentence, refused=refused)
            return error.slow
        except Exception as error:
            # A broken store or a fault of ours must not stop the bench; it is shown and tried again.
            _LOG.exception("publisher failed")
            self._board.down(f"Publishing stopped on an internal error: {error!r}.", refused=False)
            return True
        return False

    async def _connected(self) -> None:
        since = self._desk.clock.utc()
        loop = asyncio.get_running_loop()
        async with open_link(self._desk.settings, await self._desk.will(since)) as link:
            self._retry.up(loop.time())
            begun_s, session = loop.time(), Session(self._desk, link, since)
            try:
                await session.run()
            except LinkLost as lost:
                idle = lost.code is None and not session.in_flight
                raise self._judged_drop(lost, loop.time() - begun_s, idle) from lost
            finally:
                self._retry.lost(loop.time())

    def _judged_drop(self, lost: LinkLost, held_s: float, idle: bool) -> LinkLost:
        """Several links in a row that worked and ended idle and wordless: most likely our id is used twice.

        Debian's mosquitto 2.0.11 sends no "session taken over".
        """
        if not idle or held_s >= self._retry.rules.good_after_s:
            self._wordless_drops = 0
            return lost
        self._wordless_drops += 1
        if self._wordless_drops < _SUSPICIOUS_DROPS:
            return lost
        settings = self._desk.settings
        return LinkLost(drops_sentence(settings.address, settings.client_id), slow=True)

    async def _count_backlog(self) -> None:
        """Keeps the number shown current while no connection does; one that has nothing to do does."""
        while True:
            if not self._board.is_calm:
                with contextlib.suppress(Exception):
                    self._board.counts(*await self._desk.outbox.waiting())
            await asyncio.sleep(_COUNT_EVERY_S if self._board.waiting < _MANY else _COUNT_MANY_EVERY_S)
