"""MQTT 5 reason codes in words, and what each means for a message that waits."""

from __future__ import annotations

from enum import StrEnum

from logger.publish.settings import BrokerSettings

TAKEN_OVER = 0x8E
COMES_BACK = frozenset({0x88, 0x89})
"""CONNACK codes (unavailable, busy) that pass without a person's help."""
_NOT_AUTHORISED = 0x87
_QUOTA = 0x97


class Verdict(StrEnum):
    """What to do with a message after its publish failed."""

    KEEP = "keep"
    """The message is fine, the broker will not have it now: try again slowly."""
    SET_ASIDE = "set-aside"
    """The broker will never take this message: let the next one through."""
    COUNT = "count"
    """Perhaps the message, perhaps the link: after a few tries it is the message."""


_PUBACK_VERDICTS = {
    _NOT_AUTHORISED: Verdict.KEEP,
    _QUOTA: Verdict.KEEP,
    0x90: Verdict.SET_ASIDE,  # topic name invalid
    0x95: Verdict.SET_ASIDE,  # packet too large
    0x99: Verdict.SET_ASIDE,  # payload format invalid
}


def puback_verdict(code: int) -> Verdict:
    """What a refusing PUBACK (reason code >= 0x80) means for its message."""
    return _PUBACK_VERDICTS.get(code, Verdict.COUNT)


def puback_advice(code: int, topic: str, username: str | None) -> str:
    """What a person can do about a refusal that keeps the message."""
    if code == _NOT_AUTHORISED:
        return f"Give the broker's user {username or '(anonymous)'} the right to write {topic}."
    if code == _QUOTA:
        return "The broker is at a limit of its own (quota): ask whoever runs it."
    return ""


def connack_sentence(code: int, name: str, settings: BrokerSettings) -> str:
    """Why the broker refused the connection and what to do."""
    where = settings.address
    sentences = {
        0x84: f"{where} does not speak MQTT 5, which is needed to see refused messages; there is no "
        "fallback to 3.1.1: use a newer broker or switch MQTT 5 on.",
        0x85: f"{where} does not accept the client id {settings.client_id}.",
        0x86: f"Refused by broker: {where} does not accept user name or password.",
        _NOT_AUTHORISED: f"Refused by broker: {where} does not accept user name, password or rights of "
        f"{settings.username or '(anonymous)'}.",
        0x88: f"{where} is not available at the moment (it said so).",
        0x89: f"{where} is busy (it said so).",
        0x8A: f"Refused by broker: {where} has banned this client.",
        _QUOTA: f"Refused by broker: {where} has reached a quota.",
        0x9F: f"Refused by broker: too many connections a minute for {where}.",
    }
    return sentences.get(code, f"Refused by broker: {where} answered {name} (0x{code:02x}).")


def loss_sentence(code: int | None, address: str, client_id: str) -> str:
    """Why the link ended."""
    if code is None:
        return f"The link to {address} was lost."
    if code == TAKEN_OVER:
        return (
            f"Another program uses the client id {client_id} at {address} and took this session over: "
            "stop the other one or give this bench an id of its own."
        )
    if code == 0x8B:
        return f"The broker at {address} is shutting down."
    return f"The broker at {address} closed the link (reason 0x{code:02x})."


def drops_sentence(address: str, client_id: str) -> str:
    """For links that work and are dropped again and again without a word."""
    return (
        f"{address} drops every link soon after it worked. Probably another program uses the client id "
        f"{client_id} (not every broker says so): stop the other one or give this bench an id of its own."
    )
