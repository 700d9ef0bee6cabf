"""Tries the plant's broker as the publisher will use it: TLS, login, and a message that comes back."""

from __future__ import annotations

import time
from collections.abc import Mapping

from logger.publish.errors import SecretError
from logger.publish.roundtrip import round_trip
from logger.publish.settings import BrokerSettings, load_password
from logger.publish.topics import Topics


async def try_broker(answers: Mapping[str, str], nonce: str) -> tuple[bool, str]:
    """Whether nothing was refused, and what was found, one sentence after the other."""
    try:
        settings = BrokerSettings(
            host=answers["host"],
            port=int(answers["mqtt_port"]),
            client_id=f"setup-{nonce[-12:]}",
            username=answers.get("username") or None,
            password=load_password(answers["password_file"]) if answers.get("username") else None,
            ca_file=answers.get("ca_file") or None,
        )
    except (SecretError, ValueError) as error:
        return False, str(error)
    found = await round_trip(settings, Topics(answers["site"], answers["bench"]), nonce, time.time())
    return all(finding.ok is not False for finding in found), " ".join(finding.sentence for finding in found)
