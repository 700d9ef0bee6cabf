"""Readings for the plant as columns, a block about every ten real seconds; never a message a reading.

A row is one balance reading with the pressure beside it, on the bench clock since the suction was first seen
on. The record and its trace stay the source; a block is a copy for those who watch.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from logger.core.readings import Channel, Quality, Reading

BLOCK_S = 10.0
MOST_ROWS = 4000
"""A block is closed early at this size, so that no message outgrows a broker's limit."""


class ReadingsBlocks:
    """Collects rows; `take` gives a block when one is due. `speed` scales the bench clock."""

    def __init__(self, speed: float) -> None:
        self._block_ns = BLOCK_S * speed * 1e9
        self._dp_pa: float | None = None
        self._rows: list[tuple[int, float | None, float | None, bool | None]] = []

    def clear(self) -> None:
        """A new run begins."""
        self._rows = []

    def add(self, reading: Reading) -> None:
        """One reading in order of arrival."""
        value = reading.value if reading.quality is Quality.OK else None
        if reading.channel is Channel.PRESSURE:
            self._dp_pa = value
        else:
            self._rows.append((reading.at_ns, value, self._dp_pa, reading.stable))
            if len(self._rows) > 2 * MOST_ROWS:
                # Only before suction on, when no block can be dated yet: the newest stay.
                del self._rows[:MOST_ROWS]

    def due(self, now_ns: int) -> bool:
        """Whether a block is long or big enough."""
        if not self._rows:
            return False
        return now_ns - self._rows[0][0] >= self._block_ns or len(self._rows) >= MOST_ROWS

    def take(self, run_id: str, zero_ns: int, zero_utc: str) -> dict[str, Any] | None:
        """The block so far, or None when there is no row. `zero_ns` and `zero_utc` are the same moment."""
        rows, self._rows = self._rows, []
        if not rows:
            return None
        return {
            "run_id": run_id,
            "started_utc": zero_utc,
            "t_s": [round((at_ns - zero_ns) / 1e9, 4) for at_ns, _, _, _ in rows],
            "mass_g": [mass_g for _, mass_g, _, _ in rows],
            "dp_pa": [dp_pa for _, _, dp_pa, _ in rows],
            "stable": [stable for _, _, _, stable in rows],
        }


def shift_utc(utc: str, by_s: float) -> str:
    """A wall time some seconds earlier or later, in the same form."""
    moment = datetime.fromisoformat(utc) + timedelta(seconds=by_s)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
