"""What the instruments show, run or no run."""

from __future__ import annotations

from logger.core.readings import Channel, Quality, Reading
from logger.core.run.mass import MassTracker
from logger.core.run.plan import BenchPlan
from logger.core.run.view import mass_view
from logger.core.snapshot import MassView, PressureView


class IdleBench:
    """Last readings and their ages."""

    def __init__(self, plan: BenchPlan) -> None:
        self._mass = MassTracker(plan.balance.readability_g, plan.link_gap_s)
        self._gap_ns = plan.link_gap_s * 1e9
        self._dp: Reading | None = None
        self._good_ns: dict[Channel, int] = {}

    def add(self, reading: Reading) -> None:
        """One reading of either instrument."""
        if reading.quality is Quality.OK:
            self._good_ns[reading.channel] = reading.at_ns
        if reading.channel is Channel.MASS:
            self._mass.add(reading)
        else:
            self._dp = reading

    def link_lost(self, channel: Channel) -> None:
        """No number is shown that nobody measures."""
        if channel is Channel.MASS:
            self._mass.link_lost()
        else:
            self._dp = None

    def age_s(self, channel: Channel, now_ns: int) -> float | None:
        """Bench seconds since the last good reading; None before the first."""
        good_ns = self._good_ns.get(channel)
        return None if good_ns is None else max(0.0, (now_ns - good_ns) / 1e9)

    def mass(self, now_ns: int) -> MassView:
        """The balance."""
        return mass_view(self._mass, now_ns)

    def pressure(self, now_ns: int) -> PressureView:
        """The pressure, without a band: no method is chosen yet."""
        dp, good_ns = self._dp, self._good_ns.get(Channel.PRESSURE)
        fresh = good_ns is not None and now_ns - good_ns <= self._gap_ns
        return PressureView(
            dp_pa=dp.value if dp is not None and fresh else None,
            quality="none" if dp is None else ("ok" if fresh else "stale"),
            nominal_pa=None,
            low_pa=None,
            high_pa=None,
            in_band=False,
            lid="No run: the lid is not judged.",
        )
