"""MQTT 5 reason codes in words, and what each means for a message that waits."""

from __future__ import annotations

from enum import StrEnum

from logger.publish.settings import BrokerSettings

TAKEN_OVER = 0x8E
SLOW_LOSSES = frozenset({TAKEN_OVER, 0x87, 0x97, 0x98, 0x9A, 0x9B})
"""DISCONNECT codes that only a person can do something about."""
_INNOCENT_LOSSES = frozenset({0x87, 0x89, 0x8B, 0x8D, TAKEN_OVER, 0x96, 0x97, 0x98, 0x9C, 0x9D, 0xA0})
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


def blames_message(code: int | None) -> bool:
    """Whether a link that ended with this DISCONNECT code may have ended because of the message in flight.

    Some brokers end the link of a client that lacks a right, or when they shut down: the message is fine.
    """
    return code not in _INNOCENT_LOSSES


_LOSSES = {
    0x87: "Refused by broker: {address} closed the link, the user lacks a right to write.",
    0x89: "The broker at {address} is busy and closed the link.",
    0x8B: "The broker at {address} is shutting down.",
    TAKEN_OVER: "Another program uses the client id {client_id} at {address} and took this session over: "
    "stop the other one or give this bench an id of its own.",
    0x95: "The broker at {address} closed the link over a message too large for it.",
    0x97: "Refused by broker: {address} closed the link, a quota is reached.",
    0x98: "Refused by broker: the link to {address} was closed by whoever runs it.",
    0x9A: "Refused by broker: {address} keeps no retained messages; status and latest need them.",
    0x9B: "Refused by broker: {address} takes no QoS 1 messages.",
}


def loss_sentence(code: int | None, address: str, client_id: str) -> str:
    """Why the link ended."""
    if code is None:
        return f"The link to {address} was lost."
    known = _LOSSES.get(code, "The broker at {address} closed the link (reason 0x{code:02x}).")
    return known.format(address=address, client_id=client_id, code=code)


def drops_sentence(address: str, client_id: str) -> str:
    """For links that work and are dropped again and again without a word."""
    return (
        f"{address} drops every link soon after it worked. Probably another program uses the client id "
        f"{client_id} (not every broker says so): stop the other one or give this bench an id of its own."
    )
