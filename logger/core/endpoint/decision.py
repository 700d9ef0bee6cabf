"""Which conditions of the live endpoint are still open, as sentences."""

from __future__ import annotations

import math

from logger.core.endpoint.gate import PressureGate
from logger.core.endpoint.parameters import Tuning
from logger.core.endpoint.tracker import TailTracker
from logger.core.method import Endpoint


class Decision:
    """Holds what must last: rate and certainty, and how long ago readings were in trouble."""

    def __init__(self, tuning: Tuning, endpoint: Endpoint, limit_pct_per_min: float) -> None:
        self._tuning, self._endpoint, self._limit = tuning, endpoint, limit_pct_per_min
        self._met: tuple[float, int] | None = None
        self.frozen_until_s = -math.inf
        self.gap_until_s = -math.inf

    def interrupt(self) -> None:
        """The run is held: what was met begins anew."""
        self._met = None

    def judge(
        self, block_t_s: float, now_s: float, tracker: TailTracker, gate: PressureGate
    ) -> tuple[str, ...]:
        """Open conditions after a block; none means stop."""
        if self._endpoint.rule == "fixed-time":
            wanted, done = self._endpoint.time_s or 0.0, gate.effective_s
            return () if done >= wanted else (f"time: {done:.0f} s of {wanted:.0f} s sieved",)
        if not tracker.following:
            self._met = None
            return ("rate: no tail yet, mass has not been read with the pressure in its band",)
        return (
            *self._rate(block_t_s, tracker),
            *self._pressure(now_s, gate),
            *self._time(now_s, gate),
            *self._readings(block_t_s, tracker),
        )

    def _rate(self, t_s: float, tracker: TailTracker) -> list[str]:
        rate, u = tracker.rate()
        limit = self._limit
        upper, ceiling = self._upper(rate, u), self._endpoint.margin * limit
        if rate > limit:
            self._met = None
            return [f"rate: {rate:.3f} %/min is above the limit of {limit:g} %/min"]
        if upper > ceiling:
            self._met = None
            return [f"certainty: {rate:.3f} %/min could be {upper:.3f} %/min, more than {ceiling:g} %/min"]
        if tracker.doubting_a_step:
            self._met = None
            return []
        since, blocks = self._met or (t_s, 0)
        self._met = (since, blocks + 1)
        held, tuning = t_s - since, self._tuning
        if held < tuning.hold_s or blocks + 1 < tuning.hold_blocks:
            return [f"hold: rate and certainty met for {held:.0f} s of {tuning.hold_s:g} s"]
        return []

    def _upper(self, rate: float, u: float) -> float:
        """What the rate could be, %/min. The estimator knows the logarithm, so a rate that came out too low has too
        small a standard error: the bound by the logarithm counts where it is the higher one."""
        tuning = self._tuning
        by_log = rate * math.exp(min(tuning.z_log * u / max(rate, 1e-9), 20.0))
        return max(rate + tuning.z_stop * u, by_log)

    def _pressure(self, t_s: float, gate: PressureGate) -> list[str]:
        open_for, hold = gate.open_for_s(t_s), self._tuning.gate_hold_s
        if not gate.known:
            return ["pressure: never read, so it cannot be known to be in its band"]
        if open_for is None:
            return ["pressure: outside its band or not read"]
        return [f"pressure: in its band for {open_for:.0f} s of {hold:g} s"] if open_for < hold else []

    def _time(self, t_s: float, gate: PressureGate) -> list[str]:
        least, earliest = self._endpoint.min_time_s, self._tuning.earliest_s
        still = []
        if gate.effective_s < least:
            still.append(f"minimum time: {gate.effective_s:.0f} s of {least:.0f} s sieved")
        if t_s < earliest:
            still.append(f"start: no decision before {earliest:g} s")
        return still

    def _readings(self, t_s: float, tracker: TailTracker) -> list[str]:
        tuning = self._tuning
        still = []
        if tracker.doubting_a_step:
            still.append("readings: the load may have jumped, waiting whether it stays")
        if t_s - tracker.segment_from_s < tuning.settle_after_segment_s:
            still.append("readings: a new level after a jump, a sag or hands on the rig is being learned")
        if tracker.contradicted:
            still.append("readings: the newest ones contradict the tail")
        if t_s - tracker.found_again_s < tuning.settle_after_lost_s:
            still.append("readings: they contradicted the tail, which is being found again")
        if t_s - self.frozen_until_s < tuning.settle_after_frozen_s:
            still.append("readings: the balance showed the same digits for too long")
        if t_s - self.gap_until_s < tuning.recent_s:
            still.append(f"readings: a gap of over {tuning.fresh_s:g} s in the last {tuning.recent_s:g} s")
        return still
