"""Leads a blank run: one pressure after the other, each held long enough, and collects its trace. Pure.

The person switches the suction and turns the bleed valve; the guide only says what is asked now and notices
when it was done. Times on the bench clock in ns, masses in g (as shown), pressures in Pa.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from logger.core.blank import BlankStep
from logger.core.readings import Channel, Quality, Reading
from logger.core.trace import Trace

NEAR_SHARE = 0.2
"""A step counts while the pressure is within this share of the band of what was asked."""
REST_PA = 50.0
"""Below it the suction is off."""
ON_SHARE = 0.1
"""Share of the first pressure above which the jet runs: t = 0 of the trace."""


@dataclass(slots=True)
class BlankGuide:
    """Feed it every reading in order; `done` after the last step."""

    steps: Sequence[BlankStep]
    band_pa: float
    index: int = 0
    held_s: float = 0.0
    rows: list[tuple[int, float | None, float | None]] = field(default_factory=list)
    start_ns: int | None = None
    _dp_pa: float | None = None
    _dp_ns: int | None = None
    _tare_g: float | None = None

    @property
    def done(self) -> bool:
        """Whether every step was held for its time."""
        return self.index >= len(self.steps)

    @property
    def step(self) -> BlankStep:
        """The step that is asked now."""
        return self.steps[self.index]

    def add(self, reading: Reading) -> bool:
        """One reading; true when it finished a step."""
        value = reading.value if reading.quality is Quality.OK else None
        if reading.channel is Channel.MASS:
            self._note_mass(reading.at_ns, value)
            return False
        return self._note_pressure(reading.at_ns, value)

    def near(self) -> bool:
        """Whether the pressure is what the step asks for."""
        if self._dp_pa is None or self.done:
            return False
        if self.step.dp_pa <= 0:
            return abs(self._dp_pa) < REST_PA
        return abs(self._dp_pa - self.step.dp_pa) <= NEAR_SHARE * self.band_pa

    def where(self) -> str:
        """The step in a sentence, with what is still missing."""
        if self.done:
            return "All steps are done."
        left_s = max(0.0, self.step.hold_s - self.held_s)
        now = "no pressure reading" if self._dp_pa is None else f"{self._dp_pa:.0f} Pa now"
        state = f"{left_s:.0f} s left" if self.near() else now
        return f"Step {self.index + 1} of {len(self.steps)}: {self.step.text} ({state})."

    def trace(self) -> Trace:
        """The readings so far; the first mass is taken off, t = 0 when the suction was seen on."""
        zero_ns = self.start_ns if self.start_ns is not None else (self.rows[0][0] if self.rows else 0)
        tare_g = self._tare_g or 0.0
        nan = math.nan
        return Trace(
            name="blank run",
            t_s=np.array([(at_ns - zero_ns) / 1e9 for at_ns, _, _ in self.rows]),
            mass_g=np.array([nan if g is None else round(g - tare_g, 6) for _, g, _ in self.rows]),
            dp_pa=np.array([nan if dp_pa is None else dp_pa for _, _, dp_pa in self.rows]),
            stable=np.ones(len(self.rows), dtype=np.bool_),
            meta={"schema": "lastgrain/trace/1"},
        )

    def _note_mass(self, at_ns: int, mass_g: float | None) -> None:
        if self.done or (self.index == 0 and self.held_s <= 0):
            return
        if self._tare_g is None:
            self._tare_g = mass_g
        self.rows.append((at_ns, mass_g, self._dp_pa))

    def _note_pressure(self, at_ns: int, dp_pa: float | None) -> bool:
        before_ns, self._dp_ns, self._dp_pa = self._dp_ns, at_ns, dp_pa
        if self.done or dp_pa is None:
            return False
        if self.start_ns is None and dp_pa > ON_SHARE * max(step.dp_pa for step in self.steps):
            self.start_ns = at_ns
        if not self.near():
            return False
        self.held_s += 0.0 if before_ns is None else min(2.0, (at_ns - before_ns) / 1e9)
        if self.held_s < self.step.hold_s:
            return False
        self.index, self.held_s = self.index + 1, 0.0
        return True
