"""What the console is shown of the way to the plant. Times in s on the loop's clock."""

from __future__ import annotations

from typing import Literal

from logger.core.snapshot import BrokerView
from logger.publish.settings import BrokerSettings

State = Literal["off", "connecting", "up", "down", "refused"]


class Board:
    """Keeps state and figures; `view` puts them into sentences."""

    def __init__(self, settings: BrokerSettings) -> None:
        self._settings = settings
        self._state: State = "connecting"
        self._trouble = ""
        self._latest_trouble = ""
        self._set_aside_reason = ""
        self._next_try_s: float | None = None
        self._last_ack_s: float | None = None
        self.waiting = 0
        self.set_aside = 0

    def connecting(self) -> None:
        """An attempt runs. What went wrong before stays readable until it succeeds."""
        self._next_try_s = None
        if not self._trouble:
            self._state = "connecting"

    def up(self) -> None:
        """The broker takes messages."""
        self._state, self._trouble, self._next_try_s = "up", "", None

    def down(self, sentence: str, *, refused: bool) -> None:
        """No message gets through, for a reason of the link or (refused) of the broker."""
        self._state, self._trouble = "refused" if refused else "down", sentence

    def next_try(self, at_s: float) -> None:
        """When the next attempt comes."""
        self._next_try_s = at_s

    def acked(self, now_s: float) -> None:
        """The broker acknowledged something."""
        self._last_ack_s = now_s

    def latest(self, trouble: str) -> None:
        """How publishing the retained summary went; empty when well."""
        self._latest_trouble = trouble

    def put_aside(self, reason: str) -> None:
        """A message will never be sent."""
        self._set_aside_reason = reason

    def counts(self, waiting: int, set_aside: int) -> None:
        """The outbox, as counted now."""
        self.waiting, self.set_aside = waiting, set_aside

    @property
    def is_calm(self) -> bool:
        """The broker takes messages, and has taken everything."""
        return self._state == "up" and not self.waiting and not self.set_aside

    def view(self, now_s: float) -> BrokerView:
        """The picture at this moment."""
        return BrokerView(
            state=self._state,
            text=" ".join(part for part in self._sentences(now_s) if part),
            waiting=self.waiting,
            set_aside=self.set_aside,
            last_ack_age_s=None if self._last_ack_s is None else max(0.0, now_s - self._last_ack_s),
            insecure=self._settings.insecure,
        )

    def _sentences(self, now_s: float) -> tuple[str, ...]:
        return (
            self._trouble or self._calm_sentence(),
            f"{_messages(self.waiting)} kept here." if self._trouble and self.waiting else "",
            self._next_try_sentence(now_s),
            self._latest_trouble,
            self._aside_sentence(),
            "Not encrypted (insecure = true)." if self._settings.insecure else "",
        )

    def _calm_sentence(self) -> str:
        if self._state == "connecting":
            return f"Connecting to {self._settings.address}."
        if self.waiting:
            return f"Broker {self._settings.address} takes messages; {_messages(self.waiting)} to go."
        return f"Broker {self._settings.address} has taken everything."

    def _next_try_sentence(self, now_s: float) -> str:
        if self._next_try_s is None or self._state == "up":
            return ""
        return f"Next try in {max(0.0, self._next_try_s - now_s):.0f} s."

    def _aside_sentence(self) -> str:
        if not self.set_aside:
            return ""
        reason = f" ({self._set_aside_reason})" if self._set_aside_reason else ""
        return f"{_messages(self.set_aside)} set aside, the broker will never take them{reason}."


def _messages(count: int) -> str:
    return "1 message" if count == 1 else f"{count} messages"


def view_without_broker() -> BrokerView:
    """For a bench that publishes nowhere."""
    return BrokerView(
        state="off",
        text="No broker is set up: results stay on this computer.",
        waiting=0,
        set_aside=0,
        last_ack_age_s=None,
        insecure=False,
    )
