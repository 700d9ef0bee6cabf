"""From the broker into the tables: a session that the broker keeps, each message acknowledged once it is durable.

Neither an outage of the broker nor one of the database loses a message: what was not acknowledged comes again.
"""

from __future__ import annotations

import asyncio
import contextlib
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import aiomqtt
from paho.mqtt.client import MQTTMessage

from logger.core.backoff import Retry, RetryRules
from logger.publish.client import Keeping, ReasonCodeClient, open_client
from logger.publish.errors import ConnectFailed, LinkLost, PublishError
from logger.publish.reasons import SLOW_LOSSES, loss_sentence
from logger.publish.settings import BrokerSettings
from logger.publish.topics import ROOT
from logger.sink.batch import Arrival
from logger.sink.database import DatabaseAway
from logger.sink.deliveries import WANTED
from logger.sink.keeping import Keeper

MOST_AT_ONCE = 500
_REFUSED_FROM = 0x80
_ACKNOWLEDGED = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SinkOptions:
    """How the sink subscribes. `share` names a group of sinks that divide the messages among them."""

    share: str = ""
    session_s: int = 7 * 24 * 3600
    database_retry_s: float = 2.0


class Sink:
    """One subscriber. `tell` gets a sentence whenever something changes, for a person."""

    def __init__(
        self,
        settings: BrokerSettings,
        keeper: Keeper,
        options: SinkOptions,
        tell: Callable[[str], None],
        rules: RetryRules | None = None,
    ) -> None:
        self._settings, self._keeper, self._options = settings, keeper, options
        self._retry = Retry(rules)
        self._tell = _OnlyNew(tell)
        self.kept = 0
        """Messages handed to the database since the start."""

    async def run(self) -> None:
        """Until cancelled. Raises WrongDatabase, before anything is taken from the broker."""
        await self._patiently(self._keeper.prepare)
        while True:
            now_s = asyncio.get_running_loop().time()
            self._retry.attempted(now_s)
            try:
                await self._connected()
                slow = False
            except (PublishError, aiomqtt.MqttError) as error:
                slow = isinstance(error, PublishError) and error.slow
                self._tell.say("broker", str(error))
            wait_s = self._retry.wait_s(asyncio.get_running_loop().time(), random.random(), slow=slow)
            await asyncio.sleep(wait_s)

    async def _connected(self) -> None:
        incoming: asyncio.Queue[MQTTMessage] = asyncio.Queue()
        keeping = Keeping(
            session_s=self._options.session_s, most_in_flight=MOST_AT_ONCE, take=incoming.put_nowait
        )
        loop = asyncio.get_running_loop()
        async with open_client(self._settings, keeping=keeping) as client:
            self._retry.up(loop.time())
            try:
                await self._subscribe(client)
                kept = "kept" if client.session_kept else "had not kept"
                self._tell.say("broker", f"Connected to {self._settings.address}, which {kept} a session.")
                await self._until_lost(client, incoming)
            finally:
                self._retry.lost(loop.time())

    async def _subscribe(self, client: ReasonCodeClient) -> None:
        group = f"$share/{self._options.share}/" if self._options.share else ""
        topics = [(f"{group}{ROOT}/+/+/{kind}", 1) for kind in WANTED]
        codes: Sequence[Any] = await client.subscribe(topics)
        for (topic, _), code in zip(topics, codes, strict=True):
            number = code if isinstance(code, int) else code.value
            if number >= _REFUSED_FROM:
                raise ConnectFailed(
                    f"{self._settings.address} refuses the subscription {topic} (0x{number:02x}): give "
                    f"{self._settings.username or '(anonymous)'} the right to read it.",
                    refused=True,
                )

    async def _until_lost(self, client: ReasonCodeClient, incoming: asyncio.Queue[MQTTMessage]) -> None:
        working = asyncio.create_task(self._work(client, incoming))
        losing = asyncio.create_task(client.until_lost())
        try:
            await asyncio.wait({working, losing}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in (working, losing):
                task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await working
        code = client.broker_code
        raise LinkLost(
            loss_sentence(code, self._settings.address, self._settings.client_id),
            code=code,
            slow=code in SLOW_LOSSES,
        )

    async def _work(self, client: ReasonCodeClient, incoming: asyncio.Queue[MQTTMessage]) -> None:
        while True:
            messages = [await incoming.get()]
            while not incoming.empty() and len(messages) < MOST_AT_ONCE:
                messages.append(incoming.get_nowait())
            arrivals = [Arrival(str(message.topic), bytes(message.payload)) for message in messages]
            await self._patiently(partial(self._keeper.keep, arrivals))
            self.kept += len(arrivals)
            for message in messages:
                if message.qos == _ACKNOWLEDGED:
                    client.acknowledge(message.mid)

    async def _patiently(self, work: Callable[[], None]) -> None:
        """Returns when it is durable, however long the database is away."""
        while True:
            keeping = asyncio.ensure_future(asyncio.to_thread(work))
            try:
                await asyncio.shield(keeping)
            except asyncio.CancelledError:
                # The thread cannot be stopped; the connection it works on must not be closed under it.
                await asyncio.wait({keeping})
                if not keeping.cancelled():
                    keeping.exception()
                raise
            except DatabaseAway as error:
                self._tell.say(
                    "database", f"The database cannot be written; messages wait at the broker: {error}"
                )
                await asyncio.sleep(self._options.database_retry_s)
            else:
                self._tell.say("database", "The database takes messages.")
                return


class _OnlyNew:
    """Tells what is said of a thing only when it differs from what was said last."""

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell, self._said = tell, {"database": "The database takes messages."}

    def say(self, of: str, sentence: str) -> None:
        if self._said.get(of) != sentence:
            self._said[of] = sentence
            self._tell(sentence)
