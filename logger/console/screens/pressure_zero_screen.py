"""The pressure transducer's zero from its live reading, suction off."""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable

from logger.console.panels.board import Board
from logger.console.screens.watched_screen import WatchedScreen
from logger.core.run.commands import Refused
from logger.core.shift.zero import ZeroWatch
from logger.service.client import Reply


class PressureZeroScreen(WatchedScreen):
    """Takes the mean of the last seconds."""

    heading = "PRESSURE ZERO"
    about = ("The mean of the last seconds is taken, once the reading rests and the suction is off.",)

    def __init__(self, send: Callable[[float], Awaitable[Reply]]) -> None:
        super().__init__()
        self._send, self._watch = send, ZeroWatch()

    def instruction(self) -> tuple[str, str]:
        """With the suction off."""
        fault = self._watch.fault()
        ask = "Switch the suction off by hand. Leave hoses and lid as in a run."
        return ask, fault or "The reading rests: take it."

    def reading(self, board: Board) -> str:
        """The reading and its mean."""
        dp_pa, mean_pa = board.snapshot.pressure.dp_pa, self._watch.mean_pa()
        if dp_pa is None or mean_pa is None:
            return "no reading"
        return f"{dp_pa:.1f} Pa   mean {mean_pa:+.1f} Pa, {self._watch.spread_pa():.1f} Pa from low to high"

    def enter_label(self) -> str:
        """One thing."""
        return "take the zero"

    def show(self, board: Board) -> None:
        """Adds the newest reading."""
        snapshot = board.snapshot
        free = snapshot.run is None or snapshot.run.result is not None
        self._watch.add(time.monotonic(), snapshot.pressure.dp_pa if board.answering else None, free)
        super().show(board)

    async def take(self, board: Board) -> Reply | None:
        """Sends it; goes back when it was kept."""
        try:
            zero_pa = self._watch.taken_pa()
        except Refused as refusal:
            return Reply(False, str(refusal))
        reply = await self._send(zero_pa)
        if reply.ok:
            self.dismiss()
            return None
        return reply
