"""Live mode: a load that nothing which passes a sieve can explain (a tare key, a spill, a knock).

Powder that passes leaves slowly and ever more slowly. Medians over two seconds, four seconds apart, are
compared with the same step before; what fell more at once was not sieved.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from statistics import median
from typing import Literal

LOWEST_SHARE, HIGHEST_SHARE = -0.25, 1.5
"""Loads outside these shares of the charge are not a load; suction and drift move it by far less."""
IMPOSSIBLE_S = 3.0
STEP_SHARE = 0.05
"""A step of this share of the charge at once is told; what a change of pressure inside its band does to the
balance stays below it."""
GAIN_SHARE, LEAST_GAIN_G = 0.02, 1.0
"""Sieving never adds mass, so a smaller rise is told: above what the strongest suction force that live mode
allows (1.5 g/kPa) makes of a usual band."""
SPAN_S, PART_S, APART_S = 10.0, 2.0, 4.0
LOOK_S = 0.5

Kind = Literal["impossible", "loss", "knock", "gain"]


@dataclass(frozen=True, slots=True)
class LoadFinding:
    """What happened and by how much (g); the load that stands now for `impossible`."""

    kind: Kind
    step_g: float


@dataclass(slots=True)
class LoadWatch:
    """Feed it the load while the jet runs. Masses in g, times in s."""

    charge_g: float
    zero_tolerance_g: float
    _samples: deque[tuple[float, float]] = field(default_factory=deque)
    _impossible_since_s: float | None = None
    _look_at_s: float = 0.0

    def forget(self) -> None:
        """The pressure is not in its band, or hands were asked to the rig: what comes is a new level."""
        self._samples.clear()

    def impossible(self, t_s: float, load_g: float) -> LoadFinding | None:
        """Whether the load has been outside everything possible for three seconds."""
        low_g = LOWEST_SHARE * self.charge_g - self.zero_tolerance_g
        if low_g <= load_g <= HIGHEST_SHARE * self.charge_g + self.zero_tolerance_g:
            self._impossible_since_s = None
        elif self._impossible_since_s is None:
            self._impossible_since_s = t_s
        elif t_s - self._impossible_since_s >= IMPOSSIBLE_S:
            return LoadFinding("impossible", load_g)
        return None

    def step(self, t_s: float, load_g: float) -> LoadFinding | None:
        """Whether the load has jumped and stayed; the pressure must have been in its band all the while."""
        samples = self._samples
        if self._impossible_since_s is not None:
            return None
        samples.append((t_s, load_g))
        while t_s - samples[0][0] > SPAN_S:
            samples.popleft()
        if t_s - samples[0][0] < SPAN_S - LOOK_S or t_s < self._look_at_s:
            return None
        self._look_at_s = t_s + LOOK_S
        found = self._judge(t_s)
        if found is not None:
            samples.clear()
        return found

    def _judge(self, t_s: float) -> LoadFinding | None:
        now, before = self._part(t_s), self._part(t_s - APART_S)
        earlier = self._part(t_s - 2 * APART_S)
        if min(len(now), len(before), len(earlier)) < 4:
            return None
        fell_g = median(before) - median(now)
        excess_g = fell_g - max(0.0, median(earlier) - median(before))
        least_g = max(STEP_SHARE * self.charge_g, 4 * _scatter(before))
        gain_g = max(GAIN_SHARE * self.charge_g, LEAST_GAIN_G, 4 * _scatter(before))
        if _moves(now, 0.1 * abs(fell_g) + 3 * _scatter(before)) or (excess_g < least_g and -fell_g < gain_g):
            return None
        if fell_g < 0:
            return LoadFinding("gain", -fell_g)
        between = [load_g for at_s, load_g in self._samples if t_s - APART_S < at_s <= t_s - PART_S]
        knocked = max(between, default=0.0) > median(before) + least_g
        return LoadFinding("knock" if knocked else "loss", -excess_g)

    def _part(self, end_s: float) -> list[float]:
        return [load_g for at_s, load_g in self._samples if end_s - PART_S <= at_s <= end_s]


def _scatter(loads: list[float]) -> float:
    middle = median(loads)
    return median(abs(load_g - middle) for load_g in loads)


def _moves(loads: list[float], allowed_g: float) -> bool:
    """Whether these readings are still on their way: their halves differ, or they scatter."""
    half = len(loads) // 2
    return abs(median(loads[:half]) - median(loads[half:])) > 2.5 * allowed_g or _scatter(loads) > allowed_g
