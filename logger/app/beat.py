"""The beat of the run's clock: time alone moves a run on only while no reading does."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Final

TICK_S: Final = 0.1
QUIET_S: Final = 0.15
"""So long after readings time has to speak: more than the gap between two wake-ups of a fast stream."""
LONGEST_S: Final = 1.0
"""Some things no reading looks at, such as a stepped wall clock: so often time speaks in any case."""


class Beat:
    """Calls `tick` ten times a second, and no more than once a second while `moved` is called often. Real seconds."""

    def __init__(self, tick: Callable[[], None]) -> None:
        self._tick = tick
        self._timer: asyncio.TimerHandle | None = None
        self._ticked_s = 0.0
        self._failed: asyncio.Future[None] | None = None

    async def run(self) -> None:
        """Beats until cancelled. Raises what `tick` raises."""
        self._failed = asyncio.get_running_loop().create_future()
        self._wind(TICK_S)
        try:
            await self._failed
        finally:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None  # readings that still come wind nothing up again

    def moved(self) -> None:
        """Readings have just moved the run on."""
        if self._timer is not None and asyncio.get_running_loop().time() - self._ticked_s < LONGEST_S:
            self._timer.cancel()
            self._wind(QUIET_S)

    def _wind(self, wait_s: float) -> None:
        self._timer = asyncio.get_running_loop().call_later(wait_s, self._beat)

    def _beat(self) -> None:
        assert self._failed is not None
        self._ticked_s = asyncio.get_running_loop().time()
        self._wind(TICK_S)
        try:
            self._tick()
        except Exception as error:
            if not self._failed.done():
                self._failed.set_exception(error)
