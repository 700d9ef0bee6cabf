"""What a screen is given by the app that shows it, so that screens need not know the app."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Protocol

from logger.console.panels.board import Board
from logger.service.client import Reply, ServiceClient

KeyLabels = list[tuple[str, str]]
"""A key as it is written on the key line, and what it does."""


WriteReport = Callable[[int], Reply]
"""Writes the report of the run of this number into a file and says where; blocks meanwhile."""


class Console(Protocol):
    """`BoardScreen.console` is one of these. `board` is None before the first picture."""

    client: ServiceClient
    """Asks the service: `command(name, **args)`."""
    operator: str
    """Who works here; empty before anybody said so."""
    board: Board | None
    """The newest picture: `board.snapshot`, and whether the service is `board.answering`."""
    write_report: WriteReport | None
    """None where the console was started without a place for files."""

    def say(self, reply: Reply) -> None:
        """Shows an answer on the bench screen for a while."""

    def send(self, name: str, **args: Any) -> None:
        """Sends a command and shows its answer; presses while it is under way do nothing."""

    def new_run(self, fill: Mapping[str, str]) -> None:
        """Opens the form of a new run with these values in it."""

    def use(self, key: str) -> None:
        """Does what a key of the bench screen does."""
