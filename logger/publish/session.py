"""The life of one connection: birth, outbox in order, live values beside it, farewell."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Coroutine
from typing import Any

from logger.core.ports import OutboxItem
from logger.publish.client import Link
from logger.publish.desk import Desk
from logger.publish.errors import LinkLost, PayloadError, PublishError, PublishRefused, PublishTimeout
from logger.publish.payloads import latest_message, numbered_message, plain_message, schema_name
from logger.publish.reasons import Verdict, blames_message, puback_advice, puback_verdict
from logger.publish.topics import Kind

_LOG = logging.getLogger("lastgrain.publish")

MOST_TRIES = 5
"""A message that failed so often, each time on a link that had just worked, is the cause itself."""
MOST_AT_ONCE = 100
MOST_AT_ONCE_BYTES = 256 * 1024
"""So much of a backlog is fetched together; parsing it must not hold up the live values beside it."""
MARK_S = 0.1
"""So long after an acknowledgement the store knows of it; those of this time are one commit."""
LIVE_GAP_S = 0.95
"""Once a second: a little less, so that a picture a second is never held back for the next one."""
LIVE_EXPIRY_S = 10
_IDLE_S = 30.0
"""The outbox says itself when something was added; looking without being told is for a word that got lost."""
_FAREWELL_S = 2.0
_PACKET_OVERHEAD_BYTES = 300
"""Topic, properties and header of a PUBLISH, generously."""


class Session:
    """One open link, used until it fails or the publisher is stopped."""

    def __init__(self, desk: Desk, link: Link, since: str) -> None:
        self._desk = desk
        self._link = link
        self._since = since
        self._last_ack_s = self._now_s()
        self.in_flight = False
        """A message of the outbox is, or was when the link ended, unacknowledged."""
        self._acked: list[int] = []
        """Acknowledged, and not yet kept as sent: after a crash these go out again, with the same number and id."""
        self._some_acked = asyncio.Event()
        self._marking = asyncio.Lock()

    @staticmethod
    def _now_s() -> float:
        return asyncio.get_running_loop().time()

    async def run(self) -> None:
        """Works until the link fails (raises PublishError) or the task is cancelled (says goodbye)."""
        try:
            await self._say_online()
            self._desk.board.up()
            await self._refresh_latest()
            await self._work()
        except asyncio.CancelledError:
            await self._say_offline()
            raise

    async def _work(self) -> None:
        jobs = (self._drain(), self._mark_soon(), self._send_live(), self._beat(), self._link.lost())
        try:
            await _first_failure(*jobs)
        finally:
            # What could not be kept as sent here is sent once more: no reason to lose the first failure over.
            with contextlib.suppress(Exception):
                async with asyncio.timeout(_FAREWELL_S):
                    await self._mark()

    async def _publish(self, kind: Kind, payload: bytes, *, retain: bool = False) -> None:
        topic = self._desk.topics.of(kind)
        await self._link.publish(topic, payload, retain=retain, schema=schema_name(kind))
        self._last_ack_s = self._now_s()
        self._desk.board.acked(self._last_ack_s)

    async def _say_online(self) -> None:
        payload = await self._desk.status("online", "running", self._since)
        await self._publish("status", payload, retain=True)

    async def _say_offline(self) -> None:
        with contextlib.suppress(PublishError, TimeoutError):
            async with asyncio.timeout(_FAREWELL_S):
                payload = await self._desk.status("offline", "shut-down", self._desk.clock.utc())
                await self._publish("status", payload, retain=True)

    async def _beat(self) -> None:
        """Keeps `last_seq` current and finds a link that only looks alive."""
        beat_s = self._desk.settings.beat_s
        while True:
            await asyncio.sleep(max(0.05, self._last_ack_s + beat_s - self._now_s()))
            if self._now_s() - self._last_ack_s >= beat_s:
                await self._say_online()

    async def _send_live(self) -> None:
        live, due_s = self._desk.live, self._now_s()
        while True:
            await live.wait()
            if (early_s := due_s - self._now_s()) > 0:
                await asyncio.sleep(early_s)
            self._send_one_live(await live.take())
            due_s = self._now_s() + LIVE_GAP_S

    def _send_one_live(self, body: dict[str, Any]) -> None:
        try:
            payload = plain_message(self._desk.topics, "live", body, self._desk.clock.utc())
        except PayloadError as error:
            _LOG.warning("live message not sent: %s", error.sentence)
            return
        self._link.publish_live(self._desk.topics.of("live"), payload, LIVE_EXPIRY_S, schema_name("live"))

    async def _drain(self) -> None:
        while True:
            items = await self._desk.outbox.unsent(MOST_AT_ONCE, MOST_AT_ONCE_BYTES)
            if items:
                board = self._desk.board
                board.counts(max(board.waiting, len(items)), board.set_aside)
                await self._send_stretch(items)
            else:
                await self._desk.outbox.wait_for_more(_IDLE_S)

    async def _send_stretch(self, items: list[OutboxItem]) -> None:
        """In order, up to the first that stays; what was acknowledged is kept before more is fetched."""
        for item in items:
            if not await self._send(item):
                break
        await self._mark()

    async def _mark_soon(self) -> None:
        """Bounds how much is sent again after a crash, also while a stretch takes long."""
        while True:
            await self._some_acked.wait()
            await asyncio.sleep(MARK_S)
            await self._mark()

    async def _mark(self) -> None:
        async with self._marking:
            seqs = self._acked.copy()
            if seqs:
                await self._desk.outbox.mark_sent(seqs)
                del self._acked[: len(seqs)]
            if not self._acked:
                self._some_acked.clear()

    async def _send(self, item: OutboxItem) -> bool:
        """True when the message is out of the way, False when it is to be tried again."""
        payload = await self._payload_or_set_aside(item)
        if payload is None:
            return True
        self.in_flight = True
        try:
            await self._publish(item.kind, payload)
        except PublishRefused as refusal:
            self.in_flight = False
            return await self._refused(item, refusal)
        except (LinkLost, PublishTimeout) as error:
            if not isinstance(error, LinkLost) or blames_message(error.code):
                await self._count(item, error.sentence)
            raise
        else:
            self.in_flight = False
            await self._sent(item)
            return True

    async def _payload_or_set_aside(self, item: OutboxItem) -> bytes | None:
        try:
            payload = numbered_message(self._desk.topics, item, self._desk.clock.utc())
        except PayloadError as error:
            await self._set_aside(item, error.sentence)
            return None
        limit = self._link.largest_packet
        if limit is not None and len(payload) + _PACKET_OVERHEAD_BYTES > limit:
            await self._set_aside(
                item, f"{len(payload)} bytes are more than the {limit} the broker takes in one message."
            )
            return None
        return payload

    async def _sent(self, item: OutboxItem) -> None:
        self._acked.append(item.seq)
        self._some_acked.set()
        board = self._desk.board
        board.counts(max(0, board.waiting - 1), board.set_aside)
        board.up()
        if item.kind == "record":
            await self._refresh_latest()

    async def _refused(self, item: OutboxItem, refusal: PublishRefused) -> bool:
        """True when the message is out of the way."""
        verdict = puback_verdict(refusal.code)
        if verdict is Verdict.SET_ASIDE:
            await self._set_aside(item, refusal.sentence)
            return True
        if verdict is Verdict.KEEP:
            advice = puback_advice(refusal.code, refusal.topic, self._desk.settings.username)
            await self._wait_refused(f"{refusal.sentence} {advice}")
            return False
        if await self._count(item, refusal.sentence):
            return True
        await self._wait_refused(refusal.sentence)
        return False

    async def _wait_refused(self, sentence: str) -> None:
        """The link stays up for live values while the backlog waits for a person."""
        self._desk.board.down(sentence, refused=True)
        self._desk.board.next_try(self._now_s() + self._desk.rules.slow_s)
        await asyncio.sleep(self._desk.rules.slow_s)

    async def _count(self, item: OutboxItem, reason: str) -> bool:
        """One more failed try; True when it was the last one and the message is out of the way."""
        if item.attempts + 1 >= MOST_TRIES:
            await self._set_aside(item, f"{MOST_TRIES} tries failed, the last one: {reason}")
            return True
        await self._desk.outbox.note_failure(item.seq, reason)
        return False

    async def _set_aside(self, item: OutboxItem, reason: str) -> None:
        _LOG.warning("%s message seq %d set aside: %s", item.kind, item.seq, reason)
        await self._desk.outbox.set_aside(item.seq, reason)
        self._desk.board.put_aside(reason)
        waiting, set_aside = await self._desk.outbox.waiting()
        self._desk.board.counts(max(0, waiting - len(self._acked)), set_aside)

    async def _refresh_latest(self) -> None:
        """A refused summary is shown but holds nothing up: the record itself is on its way."""
        record = await self._desk.outbox.newest_record()
        if record is None:
            return
        try:
            payload = latest_message(self._desk.topics, record, self._desk.clock.utc())
            await self._publish("latest", payload, retain=True)
        except (PayloadError, PublishRefused) as error:
            self._desk.board.latest(error.sentence)
        else:
            self._desk.board.latest("")


async def _first_failure(*jobs: Coroutine[Any, Any, Any]) -> None:
    """Runs all until one ends, stops the others, and raises what the first one raised."""
    tasks = [asyncio.create_task(job) for job in jobs]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
    for task in done:
        task.result()
