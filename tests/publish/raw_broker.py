"""A peer that speaks MQTT 5 packets by hand, so that a test can say exactly what the broker answers.

Written from the standard (OASIS MQTT 5.0, parts 2 and 3), from memory; shares no code with the library.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import ssl
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from typing import Any

CONNECT, CONNACK, PUBLISH, PUBACK, SUBSCRIBE, SUBACK, PINGREQ, PINGRESP, DISCONNECT = (
    1,
    2,
    3,
    4,
    8,
    9,
    12,
    13,
    14,
)

Answer = Callable[[str, bytes], "int | None"]
"""Topic and payload of a QoS 1 PUBLISH to the PUBACK's reason code; None: say nothing."""


@dataclass
class RawBroker:
    """Counts what it was told. `connack` None: take the connection and stay silent."""

    connack: int | None = 0
    connack_properties: bytes = b""
    answer: Answer = lambda topic, payload: 0
    hang_up: Callable[[str], bool] = lambda topic: False
    """Topics at which it drops the connection without a word."""
    bid_farewell: Callable[[str], int | None] = lambda topic: None
    """Topics at which it sends DISCONNECT with this reason."""
    suback: int | None = None
    """Answer to a subscription; None: count it as a packet that should not have come."""
    port: int = 0
    connections: int = 0
    connected_at_s: list[float] = field(default_factory=list)
    published: list[tuple[str, dict[str, Any]]] = field(default_factory=list)
    disconnects: int = 0
    other_packets: list[int] = field(default_factory=list)
    _writers: list[asyncio.StreamWriter] = field(default_factory=list)

    def of(self, kind: str) -> list[dict[str, Any]]:
        return [body for topic, body in self.published if topic.endswith(f"/{kind}")]

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.connections += 1
        self.connected_at_s.append(asyncio.get_running_loop().time())
        self._writers.append(writer)
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            while await self._one_packet(reader, writer):
                pass
        writer.close()

    async def _one_packet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bool:
        first = (await reader.readexactly(1))[0]
        packet = await reader.readexactly(await _remaining_length(reader))
        kind = first >> 4
        if kind == CONNECT:
            if self.connack is None:
                return True
            size = len(self.connack_properties)
            _send(writer, CONNACK, bytes([0, self.connack, size]) + self.connack_properties)
            return self.connack < 0x80
        if kind == PUBLISH:
            return self._publish(first, packet, writer)
        if kind == PINGREQ:
            _send(writer, PINGRESP, b"")
        elif kind == SUBSCRIBE and self.suback is not None:
            _send(writer, SUBACK, packet[:2] + bytes([0, self.suback]))
        elif kind == DISCONNECT:
            self.disconnects += 1
            return False
        else:
            self.other_packets.append(kind)
        return True

    def _publish(self, first: int, packet: bytes, writer: asyncio.StreamWriter) -> bool:
        qos = (first >> 1) & 3
        length = int.from_bytes(packet[:2], "big")
        topic, at = packet[2 : 2 + length].decode(), 2 + length
        mid, at = (packet[at : at + 2], at + 2) if qos else (b"", at)
        payload = packet[at + 1 + packet[at] :]  # properties shorter than 128 bytes
        self.published.append((topic, json.loads(payload)))
        if self.hang_up(topic):
            return False
        reason = self.bid_farewell(topic)
        if reason is not None:
            _send(writer, DISCONNECT, bytes([reason, 0]))
            return False
        code = self.answer(topic, payload) if qos else None
        if code is not None:
            _send(writer, PUBACK, mid + bytes([code, 0]))
        return True


def _send(writer: asyncio.StreamWriter, kind: int, body: bytes) -> None:
    writer.write(bytes([kind << 4, len(body)]) + body)


async def _remaining_length(reader: asyncio.StreamReader) -> int:
    value = shift = 0
    while True:
        byte = (await reader.readexactly(1))[0]
        value |= (byte & 0x7F) << shift
        if byte < 0x80:
            return value
        shift += 7


@contextlib.asynccontextmanager
async def raw_broker(
    broker: RawBroker | None = None, tls: ssl.SSLContext | None = None
) -> AsyncIterator[RawBroker]:
    """Serving on a free port of 127.0.0.1."""
    subject = broker or RawBroker()
    server = await asyncio.start_server(subject.serve, "127.0.0.1", 0, ssl=tls)
    subject.port = server.sockets[0].getsockname()[1]
    try:
        yield subject
    finally:
        server.close()
        for writer in subject._writers:
            writer.close()
        await asyncio.sleep(0)
