"""The edge node on a connection of its own: will, births, data, rebirth on request, and the primary host.

The JSON messages stay the source: Sparkplug sends data at QoS 0, and nothing tells whether it arrived.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Protocol

import aiomqtt
from paho.mqtt.client import MQTTMessage
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from logger.core.backoff import Retry, RetryRules
from logger.core.ports import OutboxItem
from logger.publish.client import Keeping, ReasonCodeClient, open_client
from logger.publish.desk import WallTime
from logger.publish.errors import LinkLost, PublishError
from logger.publish.payloads import latest_body
from logger.publish.reasons import SLOW_LOSSES, loss_sentence
from logger.publish.settings import BrokerSettings
from logger.sparkplug.node import EdgeNode, HostWatch, Names, Sent

_LOG = logging.getLogger("lastgrain.sparkplug")
TICK_S = 1.0
_FAREWELL_S = 2.0
_MOST_IN_FLIGHT = 20
_LONGEST_ID = 60


class Memory(Protocol):
    """What outlives the process: the count of connections, and which records have been sent."""

    async def next_bdseq(self) -> int:
        """The number for one more connection, kept before it is used."""
        ...

    async def record_to_send(self) -> OutboxItem | None:
        """The oldest record that was not sent this way; none from before this way was switched on."""
        ...

    async def note_sent(self, seq: int) -> None:
        """This record and all before it were sent."""
        ...

    async def newest_record(self) -> OutboxItem | None:
        """The record of the newest run in its newest revision."""
        ...

    async def counts(self) -> tuple[int, int, int]:
        """Last seq, messages waiting, messages set aside."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class SparkplugOptions:
    """`primary_host` empty: births are sent at once. `tick_s`: how often values are looked at."""

    names: Names
    primary_host: str = ""
    software: str = ""
    tick_s: float = TICK_S


class SparkplugPublisher:
    """One bench's edge node. Nothing that comes in reaches anything but `EdgeNode.command` and the host watch."""

    def __init__(
        self,
        settings: BrokerSettings,
        options: SparkplugOptions,
        memory: Memory,
        clock: WallTime,
        rules: RetryRules | None = None,
    ) -> None:
        self._settings = replace(settings, client_id=f"{settings.client_id[:_LONGEST_ID]}-spb")
        self._options, self._memory, self._clock = options, memory, clock
        self._retry = Retry(rules)
        self._live: dict[str, Any] = {}
        self.node = EdgeNode(options.names, options.software)
        self.host = HostWatch()
        self.text = "connecting"
        """How it stands, for the log and the tests."""
        self._wake = asyncio.Event()
        self._rebirth = False
        self._born_with_seq = 0

    def set_live(self, values: dict[str, Any]) -> None:
        """The picture of the moment (fields of LiveBody)."""
        self._live = values

    async def run(self) -> None:
        """Until cancelled; then says NDEATH and disconnects."""
        while True:
            loop = asyncio.get_running_loop()
            self._retry.attempted(loop.time())
            slow = False
            try:
                await self._connected()
            except (PublishError, aiomqtt.MqttError) as error:
                slow = isinstance(error, PublishError) and error.slow
                self._say(str(error))
            await asyncio.sleep(self._retry.wait_s(loop.time(), random.random(), slow=slow))

    def _say(self, text: str) -> None:
        if text != self.text:
            self.text = text
            _LOG.info("Sparkplug: %s", text)

    def _now_ms(self) -> int:
        return _ms(self._clock.utc())

    async def _connected(self) -> None:
        """One session: ends when the link is lost (raises) or the primary host goes away (returns)."""
        bdseq = await self._memory.next_bdseq()
        death = self.node.death(bdseq, self._now_ms())
        will = aiomqtt.Will(death.topic, death.payload, qos=1, retain=False)
        self.host = HostWatch()
        self._rebirth = False
        keeping = Keeping(session_s=0, most_in_flight=_MOST_IN_FLIGHT, take=self._heard)
        loop = asyncio.get_running_loop()
        async with open_client(self._settings, will, keeping=keeping) as client:
            self._retry.up(loop.time())
            try:
                await self._subscribe(client)
                await self._until_host_goes(client)
                await self._say_death(client, bdseq)
            except asyncio.CancelledError:
                await self._say_death(client, bdseq)
                raise
            finally:
                self._retry.lost(loop.time())

    async def _subscribe(self, client: ReasonCodeClient) -> None:
        topics = [(self.node.names.topic("NCMD"), 1)]
        if self._options.primary_host:
            topics.append((Names.state(self._options.primary_host), 1))
        codes: Sequence[Any] = await client.subscribe(topics)
        for (topic, _), code in zip(topics, codes, strict=True):
            if (code if isinstance(code, int) else code.value) >= 0x80:
                # Without the right to listen the bench still sends; it only cannot be asked to be born again.
                _LOG.warning("the broker refuses the subscription %s", topic)

    def _heard(self, message: MQTTMessage) -> None:
        topic = str(message.topic)
        if self._options.primary_host and topic == Names.state(self._options.primary_host):
            self.host.heard(bytes(message.payload))
        elif self.node.command(topic, bytes(message.payload)):
            self._rebirth = True
        self._wake.set()

    async def _until_host_goes(self, client: ReasonCodeClient) -> None:
        self._say("connected; waiting for the primary host" if self._must_wait() else "connected")
        born = False
        while not (born and self._must_wait()):
            if client.is_lost:
                code = client.broker_code
                sentence = loss_sentence(code, self._settings.address, self._settings.client_id)
                raise LinkLost(sentence, code=code, slow=code in SLOW_LOSSES)
            if not self._must_wait():
                if not born or self._rebirth:
                    self._rebirth = False
                    await self._send_births(client)
                    born = True
                else:
                    await self._send_news(client)
            await self._next_tick(client)
        self._say("the primary host is away")

    def _must_wait(self) -> bool:
        return bool(self._options.primary_host) and not self.host.online

    async def _next_tick(self, client: ReasonCodeClient) -> None:
        """Births at most once a tick, however often they are asked for; the link's end is seen at once."""
        losing = asyncio.ensure_future(client.until_lost())
        waking = asyncio.ensure_future(self._wake.wait()) if self._must_wait() else None
        both = {task for task in (losing, waking) if task is not None}
        try:
            await asyncio.wait(both, timeout=self._options.tick_s, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._wake.clear()
            for task in both:
                task.cancel()
            await asyncio.gather(*both, return_exceptions=True)

    async def _send_births(self, client: ReasonCodeClient) -> None:
        now_ms = self._now_ms()
        newest = await self._memory.newest_record()
        if newest is not None and newest.body:
            self.node.result(now_ms, _flat(newest))
            self._born_with_seq = newest.seq
        self.node.live(now_ms, self._live)
        self.node.outbox(now_ms, await self._outbox())
        self._send(client, self.node.birth(now_ms))
        self._say("born")

    async def _send_news(self, client: ReasonCodeClient) -> None:
        now_ms = self._now_ms()
        self._send(client, self.node.live(now_ms, self._live))
        self._send(client, self.node.outbox(now_ms, await self._outbox()))
        while not client.is_lost and (item := await self._memory.record_to_send()) is not None:
            newest = await self._memory.newest_record() if item.body else None
            if not item.body:
                _LOG.warning("message %d was altered in the store and is not sent", item.seq)
            elif newest is not None and item.seq == newest.seq:
                if item.seq != self._born_with_seq:
                    self._send(client, self.node.result(now_ms, _flat(item)))
            else:
                self._send(client, self.node.earlier_result(now_ms, _ms(item.created_at), _flat(item)))
            await self._memory.note_sent(item.seq)

    async def _outbox(self) -> dict[str, int]:
        last_seq, waiting, set_aside = await self._memory.counts()
        return {"last_seq": last_seq, "waiting": waiting, "set_aside": set_aside}

    def _send(self, client: ReasonCodeClient, messages: Sequence[Sent]) -> None:
        for message in messages:
            client.publish_unacked(message.topic, message.payload, _bare())

    async def _say_death(self, client: ReasonCodeClient, bdseq: int) -> None:
        """With the number of the birth that it ends; a disconnect takes the will away unsent."""
        if client.is_lost:
            return
        death = self.node.death(bdseq, self._now_ms())
        with contextlib.suppress(TimeoutError, PublishError):
            await client.publish_acked(death.topic, death.payload, False, _bare(), _FAREWELL_S)


def _flat(item: OutboxItem) -> dict[str, Any]:
    return latest_body(item.body) | {"seq": item.seq}


def _ms(utc: str) -> int:
    return round(datetime.fromisoformat(utc).timestamp() * 1000)


def _bare() -> Properties:
    properties: Properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
    return properties
