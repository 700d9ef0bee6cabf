"""The private places of aiomqtt and paho that logger/publish/client.py leans on. A change there fails here."""

from __future__ import annotations

import inspect
from typing import Any

import aiomqtt
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from logger.publish.client import ReasonCodeClient, open_link
from logger.publish.errors import PublishRefused
from logger.publish.settings import BrokerSettings
from tests.publish.raw_broker import RawBroker, raw_broker


def settings(port: int) -> BrokerSettings:
    return BrokerSettings(host="127.0.0.1", port=port, client_id="hooks", insecure=True)


@pytest.mark.parametrize(
    ("hook", "parameters"),
    [
        ("_on_publish", ["self", "client", "userdata", "mid", "reason_code", "properties"]),
        ("_on_message", ["self", "client", "userdata", "message"]),
        ("_on_connect", ["self", "client", "userdata", "flags", "reason_code", "properties"]),
        ("_on_disconnect", ["self", "client", "userdata", "flags", "reason_code", "properties"]),
    ],
)
def test_the_callbacks_we_override_still_have_this_shape(hook: str, parameters: list[str]) -> None:
    assert list(inspect.signature(getattr(aiomqtt.Client, hook)).parameters) == parameters
    assert hook in vars(ReasonCodeClient)


@pytest.mark.asyncio
async def test_the_library_hands_its_callbacks_to_our_overrides() -> None:
    subject = ReasonCodeClient(settings(1), None)
    assert subject._client.on_publish == subject._on_publish
    assert subject._client.on_message == subject._on_message
    assert subject._client.on_connect == subject._on_connect
    assert subject._client.on_disconnect == subject._on_disconnect
    for name in ("_connected", "_disconnected", "_loop", "_misc_task", "_client"):
        assert hasattr(subject, name), name


@pytest.mark.asyncio
async def test_the_library_still_drops_the_reason_code_itself() -> None:
    """When this fails, aiomqtt raises on its own and the override can go."""
    async with raw_broker(RawBroker(answer=lambda topic, payload: 0x87)) as broker:
        plain: dict[str, Any] = {"protocol": aiomqtt.ProtocolVersion.V5, "timeout": 3}
        async with aiomqtt.Client("127.0.0.1", broker.port, **plain) as client:
            await client.publish("denied", b"{}", qos=1)


@pytest.mark.asyncio
@pytest.mark.parametrize(
    ("code", "name"),
    [
        (0x80, "Unspecified error"),
        (0x83, "Implementation specific error"),
        (0x87, "Not authorized"),
        (0x90, "Topic name invalid"),
        (0x95, "Packet too large"),
        (0x97, "Quota exceeded"),
        (0x99, "Payload format invalid"),
    ],
)
async def test_every_refusing_puback_is_raised(code: int, name: str) -> None:
    async with (
        raw_broker(RawBroker(answer=lambda topic, payload: code)) as broker,
        open_link(settings(broker.port)) as link,
    ):
        with pytest.raises(PublishRefused) as caught:
            await link.publish("a/b", b"{}")
    assert (caught.value.code, caught.value.name, caught.value.topic) == (code, name, "a/b")
    assert caught.value.sentence == f"Refused by broker: {name} (0x{code:02x}) for a/b."


@pytest.mark.asyncio
@pytest.mark.parametrize("code", [0x00, 0x10])
async def test_taken_with_and_without_subscribers(code: int) -> None:
    async with (
        raw_broker(RawBroker(answer=lambda topic, payload: code)) as broker,
        open_link(settings(broker.port)) as link,
    ):
        await link.publish("a/b", b"{}")


def test_mosquittos_code_for_a_message_too_large_can_be_read() -> None:
    assert ReasonCode(PacketTypes.PUBACK, identifier=0x95).getName() == "Packet too large"
