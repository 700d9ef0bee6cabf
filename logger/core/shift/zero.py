"""A pressure zero from what a display shows: watched for some seconds, at rest, with the suction off."""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.core.run.commands import Refused

LEAST_S = 2.0
KEPT_S = 5.0
SUCTION_PA = 50.0
"""Beyond this the suction is on; the same figure as for opening the lid."""
RESTLESS_PA = 25.0
"""A transducer at rest stays within this from its lowest to its highest (common practice)."""


@dataclass(slots=True)
class ZeroWatch:
    """Readings of the last seconds. `add` takes one; `taken_pa` gives the zero or refuses."""

    free: bool = True
    seen: list[tuple[float, float]] = field(default_factory=list)

    def add(self, now_s: float, dp_pa: float | None, bench_free: bool) -> bool:
        """One picture; True once there is a zero to take. `bench_free`: no run is under way."""
        self.free = bench_free
        if dp_pa is None:
            self.seen.clear()
            return False
        self.seen = [(at_s, pa) for at_s, pa in self.seen if now_s - at_s <= KEPT_S] + [(now_s, dp_pa)]
        return self.fault() == ""

    def mean_pa(self) -> float | None:
        """Mean of what was seen; None before anything was."""
        return None if not self.seen else sum(pa for _, pa in self.seen) / len(self.seen)

    def spread_pa(self) -> float:
        """From the lowest to the highest."""
        values = [pa for _, pa in self.seen]
        return max(values) - min(values) if values else 0.0

    def fault(self) -> str:
        """Why no zero can be taken now; empty when one can."""
        mean_pa = self.mean_pa()
        if not self.free:
            return "A run is under way: finish it first."
        if mean_pa is None:
            return "The pressure transducer gives no valid reading."
        if max(abs(pa) for _, pa in self.seen) > SUCTION_PA:
            return f"The pressure is {mean_pa:.0f} Pa: switch the suction off by hand, and wait."
        if self.spread_pa() > RESTLESS_PA:
            return "The pressure does not rest: close the lid and wait."
        if self.seen[-1][0] - self.seen[0][0] < LEAST_S:
            return "Wait: the reading is watched for some seconds."
        return ""

    def taken_pa(self) -> float:
        """The zero, Pa, to a tenth. Raises Refused with what is in the way."""
        fault, mean_pa = self.fault(), self.mean_pa()
        if fault or mean_pa is None:
            raise Refused(fault)
        return round(mean_pa, 1)
