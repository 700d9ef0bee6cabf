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
LIVE_GAP_S = 0.95
"""Once a second: a little less, so that a picture a second is never held back for the next one."""
LIVE_EXPIRY_S = 10
_IDLE_S = 1.0
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

    @staticmethod
    def _now_s() -> float:
        return asyncio.get_running_loop().time()

    async def run(self) -> None:
        """Works until the link fails (raises PublishError) or the task is cancelled (says goodbye)."""
        try:
            await self._say_online()
            self._desk.board.up()
            await self._refresh_latest()
            await _first_failure(self._drain(), self._send_live(), self._beat(), self._link.lost())
        except asyncio.CancelledError:
            await self._say_offline()
            raise

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
        while True:
            self._send_one_live(await self._desk.live.take())
            await asyncio.sleep(LIVE_GAP_S)

    def _send_one_live(self, body: dict[str, Any]) -> None:
        try:
            payload = plain_message(self._desk.topics, "live", body, self._desk.clock.utc())
        except PayloadError as error:
            _LOG.warning("live message not sent: %s", error.sentence)
            return
        self._link.publish_live(self._desk.topics.of("live"), payload, LIVE_EXPIRY_S, schema_name("live"))

    async def _drain(self) -> None:
        while True:
            item = await self._desk.outbox.next_unsent()
            if item is None:
                await self._desk.outbox.wait_for_more(_IDLE_S)
            else:
                await self._send(item)

    async def _send(self, item: OutboxItem) -> None:
        payload = await self._payload_or_set_aside(item)
        if payload is None:
            return
        self.in_flight = True
        try:
            await self._publish(item.kind, payload)
        except PublishRefused as refusal:
            self.in_flight = False
            await self._refused(item, refusal)
        except (LinkLost, PublishTimeout) as error:
            if not isinstance(error, LinkLost) or blames_message(error.code):
                await self._count(item, error.sentence)
            raise
        else:
            self.in_flight = False
            await self._sent(item)

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
        await self._desk.outbox.mark_sent(item.seq)
        board = self._desk.board
        board.counts(max(0, board.waiting - 1), board.set_aside)
        board.up()
        if item.kind == "record":
            await self._refresh_latest()

    async def _refused(self, item: OutboxItem, refusal: PublishRefused) -> None:
        verdict = puback_verdict(refusal.code)
        if verdict is Verdict.SET_ASIDE:
            await self._set_aside(item, refusal.sentence)
        elif verdict is Verdict.KEEP:
            advice = puback_advice(refusal.code, refusal.topic, self._desk.settings.username)
            await self._wait_refused(f"{refusal.sentence} {advice}")
        elif not await self._count(item, refusal.sentence):
            await self._wait_refused(refusal.sentence)

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
        self._desk.board.counts(*await self._desk.outbox.waiting())

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
