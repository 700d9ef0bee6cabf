"""Enter pressed while the balance has just lost its stable mark: the weight that was seen is waited for.

Only that weight, and only for a moment: a balance that comes to rest anywhere else takes nothing, because nobody
has read what it shows then.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from logger.core.snapshot import MassView, Snapshot

WAITED_S = 3.0
DIGITS = 2
"""A weight within so many of its last digits is the one that was seen."""


@dataclass(frozen=True, slots=True)
class AwaitedWeight:
    """The mass that stood on the screen when Enter was pressed, and for which step of the run."""

    seen_g: float
    decimals: int
    step: tuple[str, str]
    until_s: float

    def look(self, snapshot: Snapshot, now_s: float) -> Literal["wait", "take", "moved", "late", "gone"]:
        """What the newest picture means for it."""
        mass = snapshot.mass
        if step_of(snapshot) != self.step or mass.value_g is None:
            return "gone"
        if mass.stable:
            return "take" if self._is_seen(mass) else "moved"
        return "late" if now_s >= self.until_s else "wait"

    def _is_seen(self, mass: MassView) -> bool:
        assert mass.value_g is not None
        return abs(mass.value_g - self.seen_g) <= (DIGITS + 0.5) * 10.0**-self.decimals

    @property
    def figure(self) -> str:
        """The mass as it stood on the screen."""
        return f"{self.seen_g:.{self.decimals}f} g"


def awaited(snapshot: Snapshot, now_s: float) -> AwaitedWeight | None:
    """What Enter waits for now; None when the weight can be asked for at once, or there is none to wait for."""
    mass = snapshot.mass
    if mass.stable or mass.value_g is None or mass.quality != "ok":
        return None
    return AwaitedWeight(mass.value_g, mass.decimals, step_of(snapshot), now_s + WAITED_S)


def step_of(snapshot: Snapshot) -> tuple[str, str]:
    """The step of the run that is on."""
    return snapshot.state, snapshot.instruction.key


SENTENCES = {
    "moved": "The balance now stands elsewhere than at {figure}: read it, then press Enter.",
    "late": "The balance did not come to rest at {figure}: nothing was taken. Enter tries again.",
    "gone": "The step has changed: nothing was taken.",
}
