"""The balance against its check weights, guided on its live reading: empty pan, weight, next weight."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import Any

from logger.console.literal import literal
from logger.console.panels.board import Board
from logger.console.screens.watched_screen import WatchedScreen
from logger.console.shift_rows import CheckWeightRow
from logger.console.words import mass_figure, mass_line
from logger.service.client import Reply

EMPTY_SHARE = 0.1
"""A pan that shows more than this share of the weight is not empty; less than the rest, and it is not on."""


class BalanceCheckScreen(WatchedScreen):
    """One weight after the other. A weight that fails can be weighed again."""

    heading = "BALANCE CHECK"
    about = (
        "For each check weight the empty pan is read first, then the weight. Its tolerance stands in the bench file.",
        "A check that failed refuses every run until the weight passes.",
    )

    def __init__(
        self, weights: Sequence[CheckWeightRow], send: Callable[[dict[str, Any]], Awaitable[Reply]]
    ) -> None:
        super().__init__()
        self._weights, self._send = list(weights), send
        self._place = 0
        self._zero_g: float | None = None

    @property
    def _weight(self) -> CheckWeightRow:
        return self._weights[self._place]

    def instruction(self) -> tuple[str, str]:
        """Empty pan, then the weight."""
        weight = self._weight
        count = f"Weight {self._place + 1} of {len(self._weights)}."
        if self._zero_g is None:
            return "Clear the pan.", f"{count} Enter takes the empty pan once it is stable."
        text = f"Put check weight {literal(weight.id, 30)}, {weight.mass_g:g} g, on the pan with its tongs."
        return text, f"{count} Empty pan {self._zero_g:g} g. Allowed: ± {weight.tolerance_g:g} g."

    def reading(self, board: Board) -> str:
        """What the balance shows."""
        return mass_line(board.snapshot.mass)

    def enter_label(self) -> str:
        """Which reading is taken."""
        return "take the empty pan" if self._zero_g is None else "take the weight"

    async def take(self, board: Board) -> Reply | None:
        """The empty pan, or the weight: then the check is entered."""
        mass, weight = board.snapshot.mass, self._weight
        if board.snapshot.run is not None and board.snapshot.run.result is None:
            return Reply(False, "A run is on the bench: finish it first.")
        if mass.value_g is None or not mass.stable:
            return Reply(False, "The balance is not stable: wait for the stable mark.")
        if self._zero_g is None:
            if abs(mass.value_g) > EMPTY_SHARE * weight.mass_g:
                return Reply(False, f"The balance shows {mass_figure(mass)} g: clear the pan first.")
            self._zero_g = mass.value_g
            return Reply(True, f"Empty pan: {mass_figure(mass)} g.")
        if mass.value_g < (1 - EMPTY_SHARE) * weight.mass_g:
            words = f"The balance shows {mass_figure(mass)} g: put the {weight.mass_g:g} g weight on."
            return Reply(False, words)
        return await self._enter(weight, self._zero_g, mass.value_g)

    async def _enter(self, weight: CheckWeightRow, zero_g: float, reading_g: float) -> Reply | None:
        entry = {"weight_id": weight.id, "zero_g": zero_g, "reading_g": reading_g}
        reply = await self._send(entry)
        if not reply.ok:
            return reply
        self._zero_g = None
        if reply.text.startswith("FAILED"):
            return reply
        if self._place + 1 == len(self._weights):
            self.dismiss()
            return None
        self._place += 1
        return reply
