"""One MQTT 5 connection, with every reason code of the broker seen.

aiomqtt 2.x throws the reason code of a PUBACK away, does not wake a publish when the link drops, and
keeps socket and timer of a connection that was never answered. This file is the one place that
overrides it; tests/publish/test_library_hooks.py fails when the hooks it leans on change.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import socket
import ssl
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, NoReturn

import aiomqtt
from paho.mqtt.client import MQTT_ERR_SUCCESS, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.client import Client as PahoClient
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from logger.publish.errors import ConnectFailed, LinkLost, PublishRefused, PublishTimeout
from logger.publish.failures import CLOSED_UNANSWERED, connect_failure
from logger.publish.properties import json_properties, session_properties
from logger.publish.reasons import SLOW_LOSSES, loss_sentence
from logger.publish.settings import BrokerSettings
from logger.publish.tls import tls_context

_LOG = logging.getLogger("lastgrain.mqtt")
_CLOSE_S = 2.0
_REFUSED_FROM = 0x80
_TOO_LARGE = 0x95
_FREE_BYTES = 1024
_SLOWEST_LINK_BYTES_PER_S = 1000.0
_LONGEST_PUBLISH_S = 15.0
"""A dead link must be noticed within 20 s, whatever the size of the message in flight."""


def _read_mosquittos_too_large() -> None:
    """Lets the library read PUBACK 0x95.

    The standard has no such code for PUBACK, but Debian's mosquitto answers so to a message above its
    message_size_limit; unread, the library takes it for a protocol error and drops the link.
    """
    known = dict(ReasonCode.names)
    packets = known[_TOO_LARGE]["Packet too large"]
    if PacketTypes.PUBACK not in packets:
        known[_TOO_LARGE] = {"Packet too large": [*packets, PacketTypes.PUBACK]}
        ReasonCode.names = MappingProxyType(known)


_read_mosquittos_too_large()


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """A session with messages coming in, which go to `take`. One that the broker keeps for a subscriber who is
    away has them acknowledged by `acknowledge` alone."""

    session_s: int
    """How long it is kept; 0: it ends with the connection, and what comes in is acknowledged by itself."""
    most_in_flight: int
    """How many unacknowledged messages the broker may send ahead."""
    take: Callable[[MQTTMessage], None]


class ReasonCodeClient(aiomqtt.Client):
    """aiomqtt's client with the answers it drops. Used for one connection, then thrown away."""

    def __init__(
        self, settings: BrokerSettings, will: aiomqtt.Will | None, keeping: Keeping | None = None
    ) -> None:
        super().__init__(
            settings.host,
            settings.port,
            username=settings.username,
            password=settings.password,
            identifier=settings.client_id,
            protocol=aiomqtt.ProtocolVersion.V5,
            will=will,
            timeout=settings.publish_timeout_s,
            keepalive=settings.keepalive_s,
            clean_start=keeping is None or keeping.session_s == 0,
            properties=None
            if keeping is None
            else session_properties(keeping.session_s, keeping.most_in_flight),
            tls_context=tls_context(settings),
            logger=_LOG,
        )
        self._client.connect_timeout = settings.publish_timeout_s
        self._acks: dict[int, asyncio.Future[ReasonCode]] = {}
        self.largest_packet: int | None = None
        self.broker_code: int | None = None
        self.deaf = False
        """Drops and counts what comes in, instead of keeping it for a reader who never comes."""
        self.unasked = 0
        self.session_kept = False
        """The broker had kept the session of an earlier connection."""
        self._keeping = keeping
        self._client.manual_ack_set(keeping is not None and keeping.session_s > 0)

    def _on_connect(
        self,
        client: PahoClient,
        userdata: Any,
        flags: ConnectFlags,
        reason_code: ReasonCode,
        properties: Properties | None = None,
    ) -> None:
        self.largest_packet = getattr(properties, "MaximumPacketSize", None)
        self.session_kept = flags.session_present
        super()._on_connect(client, userdata, flags, reason_code, properties)

    def _on_disconnect(
        self,
        client: PahoClient,
        userdata: Any,
        flags: DisconnectFlags,
        reason_code: ReasonCode,
        properties: Properties | None = None,
    ) -> None:
        if flags.is_disconnect_packet_from_server and self.broker_code is None:
            self.broker_code = reason_code.value
        if not self._connected.done():
            self._connected.set_exception(aiomqtt.MqttError(CLOSED_UNANSWERED))
        super()._on_disconnect(client, userdata, flags, reason_code, properties)

    def _on_message(self, client: PahoClient, userdata: Any, message: MQTTMessage) -> None:
        if self._keeping is not None:
            self._keeping.take(message)
            return
        if not self.deaf:
            super()._on_message(client, userdata, message)
            return
        self.unasked += 1
        if self.unasked == 1:
            _LOG.warning("the broker sends messages that nobody asked for; they are ignored and counted")

    def _on_publish(
        self, client: PahoClient, userdata: Any, mid: int, reason_code: ReasonCode, properties: Properties
    ) -> None:
        ack = self._acks.pop(mid, None)
        if ack is not None and not ack.done():
            ack.set_result(reason_code)
        super()._on_publish(client, userdata, mid, reason_code, properties)

    async def publish_acked(
        self, topic: str, payload: bytes, retain: bool, properties: Properties, timeout_s: float
    ) -> ReasonCode | None:
        """The PUBACK's reason code, None when the link ended first. Raises TimeoutError."""
        info = self._client.publish(topic, payload, 1, retain, properties)
        if info.rc != MQTT_ERR_SUCCESS:
            return None
        ack: asyncio.Future[ReasonCode] = asyncio.Future()
        self._acks[info.mid] = ack
        either: set[asyncio.Future[Any]] = {ack, self._disconnected}
        try:
            await asyncio.wait(either, timeout=timeout_s, return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._acks.pop(info.mid, None)
        if ack.done():
            return ack.result()
        if self._disconnected.done():
            return None
        raise TimeoutError

    def acknowledge(self, mid: int) -> None:
        """PUBACK for a message that came in over this connection; nothing once the connection has ended."""
        if not self.is_lost:
            self._client.ack(mid, 1)

    def publish_unacked(self, topic: str, payload: bytes, properties: Properties) -> None:
        """QoS 0: handed to the socket, never waited for."""
        self._client.publish(topic, payload, 0, False, properties)

    async def until_lost(self) -> None:
        """Returns when the connection has ended, for whatever reason."""
        await asyncio.wait({self._disconnected})

    @property
    def is_lost(self) -> bool:
        """The connection has ended."""
        return self._disconnected.done()

    def certificate_ends_at_s(self) -> float | None:
        """When the broker's certificate expires (s since 1970), None without TLS."""
        sock = self._client.socket()
        certificate = sock.getpeercert() if isinstance(sock, ssl.SSLSocket) else None
        if not certificate or not isinstance(certificate.get("notAfter"), str):
            return None
        return float(ssl.cert_time_to_seconds(str(certificate["notAfter"])))

    async def hang_up(self) -> None:
        """DISCONNECT when the link still stands, then let go of the socket in any case."""
        if self.unasked > 1:
            _LOG.warning("%d messages that nobody asked for were ignored", self.unasked)
        if self._connected.done() and not self._disconnected.done():
            self._client.disconnect()
            await asyncio.wait({self._disconnected}, timeout=_CLOSE_S)
        self.drop_socket()

    def drop_socket(self) -> None:
        """Takes socket and timer off the loop, which the library forgets for unanswered connections."""
        sock = self._client.socket()
        if isinstance(sock, socket.socket) and sock.fileno() >= 0:
            self._loop.remove_reader(sock.fileno())
            self._loop.remove_writer(sock.fileno())
            sock.close()
        if self._misc_task is not None:
            self._misc_task.cancel()
        for future in (self._connected, self._disconnected):
            if future.done() and not future.cancelled():
                future.exception()  # seen: otherwise asyncio complains that nobody looked


class Link:
    """An open connection. Made by `open_link`; all methods belong to one event loop."""

    def __init__(self, settings: BrokerSettings, client: ReasonCodeClient) -> None:
        self._settings = settings
        self._client = client

    @property
    def largest_packet(self) -> int | None:
        """What the broker takes in one packet (bytes), None when it did not say."""
        return self._client.largest_packet

    async def publish(self, topic: str, payload: bytes, *, retain: bool = False, schema: str = "") -> None:
        """JSON at QoS 1, returns when the broker has taken it. `schema` goes along as a user property.

        Raises PublishRefused (reason code >= 0x80), PublishTimeout, LinkLost.
        """
        timeout_s = publish_timeout_s(self._settings.publish_timeout_s, len(payload))
        try:
            properties = json_properties(schema)
            code = await self._client.publish_acked(topic, payload, retain, properties, timeout_s)
        except TimeoutError:
            raise PublishTimeout(
                f"{self._settings.address} did not acknowledge a message in {timeout_s:.0f} s."
            ) from None
        if code is None:
            self._raise_loss()
        if code.value >= _REFUSED_FROM:
            raise PublishRefused(topic, code.value, code.getName())

    def publish_live(self, topic: str, payload: bytes, expiry_s: int, schema: str) -> None:
        """QoS 0, not waited for; the broker may drop it after `expiry_s`."""
        properties = json_properties(schema)
        properties.MessageExpiryInterval = expiry_s
        self._client.publish_unacked(topic, payload, properties)

    async def lost(self) -> NoReturn:
        """Waits for the end of the link and raises LinkLost with the broker's reason."""
        await self._client.until_lost()
        self._raise_loss()

    def _raise_loss(self) -> NoReturn:
        code = self._client.broker_code
        sentence = loss_sentence(code, self._settings.address, self._settings.client_id)
        raise LinkLost(sentence, code=code, slow=code in SLOW_LOSSES)


@contextlib.asynccontextmanager
async def open_client(
    settings: BrokerSettings,
    will: aiomqtt.Will | None = None,
    *,
    deaf: bool = False,
    keeping: Keeping | None = None,
) -> AsyncIterator[ReasonCodeClient]:
    """A connected client for the length of the block. Raises ConnectFailed."""
    client = ReasonCodeClient(settings, will, keeping)
    client.deaf = deaf
    try:
        await _connect(client, settings)
        yield client
    finally:
        await client.hang_up()


@contextlib.asynccontextmanager
async def open_link(settings: BrokerSettings, will: aiomqtt.Will | None = None) -> AsyncIterator[Link]:
    """A connection that can only publish, for the length of the block. Raises ConnectFailed."""
    async with open_client(settings, will, deaf=True) as client:
        yield Link(settings, client)


async def _connect(client: ReasonCodeClient, settings: BrokerSettings) -> None:
    connecting = asyncio.ensure_future(client.__aenter__())
    try:
        await asyncio.shield(connecting)
    except asyncio.CancelledError:
        # The library connects in a thread that nothing can interrupt (name look-up aside, at most
        # three time-outs); leaving it behind would hand a socket to a loop that has moved on.
        await asyncio.wait({connecting})
        if not connecting.cancelled():
            connecting.exception()
        raise
    except aiomqtt.MqttError as error:
        raise connect_failure(error, settings) from error
    except UnicodeError as error:
        raise ConnectFailed(f"{settings.host!r} is not a host name.", refused=True) from error


def publish_timeout_s(base_s: float, size_bytes: int) -> float:
    """How long a PUBACK may take: longer for large messages, so that a slow link is not called dead."""
    return min(
        base_s + max(0, size_bytes - _FREE_BYTES) / _SLOWEST_LINK_BYTES_PER_S, max(base_s, _LONGEST_PUBLISH_S)
    )
