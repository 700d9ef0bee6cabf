"""What can go wrong between bench and broker. Each carries a sentence for the operator."""

# ruff: noqa: N818 - the names say what happened, as those of events do

from __future__ import annotations


class PublishError(Exception):
    """Base. `slow` marks causes that only a person can remove: hurrying would change nothing."""

    def __init__(self, sentence: str, *, slow: bool = False) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.slow = slow


class ConnectFailed(PublishError):
    """No usable connection. `refused` when the broker was reached and said no, or TLS did."""

    def __init__(self, sentence: str, *, refused: bool = False) -> None:
        super().__init__(sentence, slow=refused)
        self.refused = refused


class LinkLost(PublishError):
    """The connection ended. `code` is the broker's MQTT 5 reason, None when it gave none."""

    def __init__(self, sentence: str, *, code: int | None = None, slow: bool = False) -> None:
        super().__init__(sentence, slow=slow)
        self.code = code


class PublishTimeout(PublishError):
    """No PUBACK in time; the message may or may not have arrived."""


class PublishRefused(PublishError):
    """The broker answered a PUBLISH with a reason code of 0x80 or more."""

    def __init__(self, topic: str, code: int, name: str) -> None:
        super().__init__(f"Refused by broker: {name} (0x{code:02x}) for {topic}.", slow=True)
        self.topic = topic
        self.code = code
        self.name = name


class PayloadError(PublishError):
    """A message that cannot be put into its schema; sending it later would not help."""


class SecretError(PublishError):
    """The broker password cannot be read safely."""
