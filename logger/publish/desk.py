"""What all connections of one bench share: settings, outbox, board, the live picture."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import Any, Literal, Protocol

import aiomqtt
from paho.mqtt.packettypes import PacketTypes

from logger.core.backoff import RetryRules
from logger.core.ports import Outbox
from logger.publish.board import Board
from logger.publish.payloads import plain_message, schema_name
from logger.publish.properties import json_properties
from logger.publish.settings import BrokerSettings
from logger.publish.topics import Topics

LIVE_STALE_S = 2.0


class WallTime(Protocol):
    """The part of the core's Clock that is needed here."""

    def utc(self) -> str:
        """ISO 8601 in UTC with milliseconds and a Z."""
        ...


class LiveSlot:
    """The newest live picture, sent at most once; a stale one is dropped."""

    def __init__(self) -> None:
        self._body: dict[str, Any] = {}
        self._at_s = 0.0
        self._filled = asyncio.Event()

    def put(self, body: dict[str, Any], now_s: float) -> None:
        """Replaces what was not sent yet."""
        self._body, self._at_s = body, now_s
        self._filled.set()

    async def wait(self) -> None:
        """Returns when there is a picture."""
        await self._filled.wait()

    async def take(self) -> dict[str, Any]:
        """Waits for a picture that is not stale, and hands it out once."""
        while True:
            await self._filled.wait()
            self._filled.clear()
            if asyncio.get_running_loop().time() - self._at_s <= LIVE_STALE_S:
                return self._body


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """All that connections share."""

    settings: BrokerSettings
    topics: Topics
    outbox: Outbox
    clock: WallTime
    board: Board
    rules: RetryRules
    live: LiveSlot = field(default_factory=LiveSlot)

    async def status(
        self,
        state: Literal["online", "offline"],
        cause: Literal["running", "shut-down", "link-lost"],
        since: str,
    ) -> bytes:
        """A status message as of now."""
        waiting, set_aside = await self.outbox.waiting()
        self.board.counts(waiting, set_aside)
        body = {
            "state": state,
            "cause": cause,
            "since": since,
            "last_seq": await self.outbox.last_seq(),
            "waiting": waiting,
            "set_aside": set_aside,
            "insecure": self.settings.insecure,
        }
        return plain_message(self.topics, "status", body, self.clock.utc())

    async def will(self, since: str) -> aiomqtt.Will:
        """What the broker says for a bench that fell silent."""
        payload = await self.status("offline", "link-lost", since)
        properties = json_properties(schema_name("status"), PacketTypes.WILLMESSAGE)
        return aiomqtt.Will(self.topics.of("status"), payload, qos=1, retain=True, properties=properties)
