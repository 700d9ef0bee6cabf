"""The check that a PUBACK cannot give: publish a message and read it back over a second connection.

Both connections use client ids of their own, so that a publisher at work is not thrown out.
"""

from __future__ import annotations

import asyncio
import json
from dataclasses import dataclass, replace

import aiomqtt

from logger.publish.client import Link, ReasonCodeClient, open_client
from logger.publish.errors import PublishError
from logger.publish.settings import BrokerSettings
from logger.publish.topics import Topics

_REFUSED_FROM = 0x80
_DAY_S = 86400.0
_WARN_DAYS = 30.0


@dataclass(frozen=True, slots=True)
class Finding:
    """One line for `doctor`. `ok` is None when the question stays open."""

    ok: bool | None
    sentence: str


async def round_trip(
    settings: BrokerSettings, topics: Topics, nonce: str, now_s: float, wait_s: float = 5.0
) -> tuple[Finding, ...]:
    """Connects twice, subscribes to the check topic, publishes `nonce`, waits for it up to `wait_s`.

    `now_s` is the wall time (s since 1970), for the age of the broker's certificate. Raises nothing of
    the broker's: every failure is a finding.
    """
    reading = replace(settings, client_id=f"{settings.client_id[:48]}-doctor-in")
    writing = replace(settings, client_id=f"{settings.client_id[:48]}-doctor-out")
    sent = json.dumps({"nonce": nonce}).encode()
    try:
        async with open_client(reading) as reader, open_client(writing) as writer:
            found = [_encryption(settings, writer, now_s)]
            may_read = await _subscribe(reader, topics.check)
            await Link(writing, writer).publish(topics.check, sent)
            found.append(Finding(True, f"{settings.address} took a message on {topics.check}."))
            found.append(
                await _read_back(reader, topics.check, sent, wait_s) if may_read else _may_not_read(topics)
            )
            return tuple(found)
    except PublishError as error:
        return (Finding(False, error.sentence),)
    except aiomqtt.MqttError as error:
        return (Finding(False, f"{settings.address} dropped the check: {error}."),)


async def _subscribe(reader: ReasonCodeClient, topic: str) -> bool:
    codes = await reader.subscribe(topic, qos=1)
    return all((code if isinstance(code, int) else code.value) < _REFUSED_FROM for code in codes)


async def _read_back(reader: ReasonCodeClient, topic: str, sent: bytes, wait_s: float) -> Finding:
    try:
        async with asyncio.timeout(wait_s):
            async for message in reader.messages:
                # Anything may lie on a topic; it is compared, never parsed.
                if message.payload == sent:
                    return Finding(True, "The message came back over a second connection.")
    except TimeoutError:
        pass
    return Finding(
        False,
        f"The broker acknowledged the message, yet it did not come back in {wait_s:.0f} s. Some brokers say "
        f"nothing when a user may not read: add  topic read {topic}  to its ACL and check again.",
    )


def _may_not_read(topics: Topics) -> Finding:
    return Finding(
        None,
        f"This user may not read {topics.check}, so delivery is not proved: add  topic read {topics.check}  "
        "to the broker's ACL.",
    )


def _encryption(settings: BrokerSettings, client: ReasonCodeClient, now_s: float) -> Finding:
    if settings.insecure:
        return Finding(
            None, "Not encrypted (insecure = true): anyone on the way can read and change results."
        )
    ends_at_s = client.certificate_ends_at_s()
    if ends_at_s is None:
        return Finding(None, "Encrypted; the broker's certificate does not say when it ends.")
    days = (ends_at_s - now_s) / _DAY_S
    return Finding(
        days > _WARN_DAYS, f"Encrypted; the broker's certificate is valid for {days:.0f} more days."
    )
