"""A subscriber for the tests, on aiomqtt as it is: independent of our overrides."""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator, Callable
from typing import Any

import aiomqtt


class Heard:
    """What arrived, in order."""

    def __init__(self) -> None:
        self.messages: list[tuple[str, dict[str, Any], bool]] = []
        self.at_s: list[float] = []

    def of(self, kind: str) -> list[dict[str, Any]]:
        return [body for topic, body, _ in self.messages if topic.rsplit("/", 1)[1] == kind]

    def seqs(self) -> list[int]:
        kinds = ("event", "record", "readings")
        return [body["seq"] for topic, body, _ in self.messages if topic.rsplit("/", 1)[1] in kinds]

    def at_of(self, kind: str) -> list[float]:
        return [
            at
            for at, (topic, _, _) in zip(self.at_s, self.messages, strict=True)
            if topic.rsplit("/", 1)[1] == kind
        ]


@contextlib.asynccontextmanager
async def listening(port: int, topic: str = "lastgrain/v1/#", **options: Any) -> AsyncIterator[Heard]:
    """Subscribed from here on."""
    heard = Heard()
    options.setdefault("hostname", "127.0.0.1")
    client = aiomqtt.Client(port=port, protocol=aiomqtt.ProtocolVersion.V5, **options)
    async with client:
        await client.subscribe(topic, qos=1)
        task = asyncio.create_task(_collect(client, heard))
        try:
            yield heard
        finally:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError, aiomqtt.MqttError):
                await task
            if client._disconnected.done():
                client._disconnected.exception()  # seen, or asyncio prints that nobody looked


async def _collect(client: aiomqtt.Client, heard: Heard) -> None:
    async for message in client.messages:
        assert isinstance(message.payload, bytes)
        heard.at_s.append(asyncio.get_running_loop().time())
        heard.messages.append((str(message.topic), json.loads(message.payload), message.retain))


async def until(condition: Callable[[], Any], timeout_s: float = 10.0) -> None:
    """Returns as soon as the condition holds; fails with its source when it never does."""
    deadline = asyncio.get_running_loop().time() + timeout_s
    while not condition():
        assert asyncio.get_running_loop().time() < deadline, "waited in vain"
        await asyncio.sleep(0.02)


@contextlib.asynccontextmanager
async def running(publisher: Any) -> AsyncIterator[asyncio.Task[None]]:
    """The publisher at work; stopped at the end."""
    task = asyncio.create_task(publisher.run())
    try:
        yield task
    finally:
        task.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await task
