"""Follows the differential pressure: band, effective time, suction on and off, and the lid.

Effective time is the integral of dP/dP0 over the stretches in which two successive fresh readings both
lie in the band; a gap longer than `gap_s` adds nothing (gaps are never bridged).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.core.method import Suction

SUCTION_ON_SHARE = 0.1
"""Share of the nominal pressure above which the suction counts as switched on."""
SUCTION_SEEN_SHARE = 0.5
"""The pressure must have passed this share in the run before a low pressure says anything about the lid."""
LID_HOLD_S = 3.0


@dataclass(slots=True)
class PressureTracker:
    """Feed it every pressure reading of the run in order. Times in ns on the bench clock."""

    suction: Suction
    lid_open_pa: float
    gap_s: float
    frozen_s: float = 30.0
    dp_pa: float | None = None
    at_ns: int | None = None
    effective_s: float = 0.0
    out_of_band_s: float = 0.0
    unread_s: float = 0.0
    """Time while sieving in which no pressure was read: it counts neither as in nor as out of the band."""
    seen_suction: bool = False
    band_since_ns: int | None = None
    outside_since_ns: int | None = None
    open_since_ns: int | None = None
    counting: bool = False
    judging: bool = True
    """Whether the band is asked for: time outside it, or without a reading, is then added up."""
    lost_since_ns: int | None = None
    _same_since_ns: int | None = field(default=None)

    def add(self, at_ns: int, dp_pa: float | None) -> None:
        """One reading; `dp_pa` None when it was not a usable number."""
        if dp_pa is None:
            return
        self._integrate(at_ns, dp_pa)
        self._note_band(at_ns, dp_pa)
        self._note_lid(at_ns, dp_pa)
        self.lost_since_ns = None
        if dp_pa != self.dp_pa or self._same_since_ns is None:
            self._same_since_ns = at_ns
        self.dp_pa, self.at_ns = dp_pa, at_ns

    def link_lost(self, now_ns: int) -> None:
        """The link is known to be down: nothing is fresh until the next reading, and the gap counts nothing."""
        if self.lost_since_ns is None:
            self.lost_since_ns = now_ns

    def in_band(self, dp_pa: float | None) -> bool:
        """Whether `dp_pa` lies within the method's band, edges included."""
        return dp_pa is not None and abs(dp_pa - self.suction.dp_pa) <= self.suction.band_pa

    def fresh(self, now_ns: int) -> bool:
        """Whether the link is up and the last reading younger than the gap limit."""
        known = self.at_ns is not None and self.lost_since_ns is None
        return known and now_ns - (self.at_ns or 0) <= self.gap_s * 1e9

    def frozen(self, now_ns: int, factor: float = 1.0) -> bool:
        """Whether a pressure above the lid limit has shown the very same number for `factor` * `frozen_s`."""
        if self.dp_pa is None or self._same_since_ns is None or abs(self.dp_pa) < self.lid_open_pa:
            return False
        return now_ns - self._same_since_ns > factor * self.frozen_s * 1e9

    def suction_on(self) -> bool:
        """Whether the last reading shows the jet running."""
        return self.dp_pa is not None and self.dp_pa > SUCTION_ON_SHARE * self.suction.dp_pa

    def band_held_s(self, now_ns: int) -> float:
        """For how long the pressure has been in its band without a break."""
        return 0.0 if self.band_since_ns is None else (now_ns - self.band_since_ns) / 1e9

    def outside_s(self, now_ns: int) -> float:
        """For how long the pressure has been outside its band, or not known at all."""
        if not self.fresh(now_ns) and self.at_ns is not None:
            return (now_ns - (self.lost_since_ns or self.at_ns)) / 1e9
        return 0.0 if self.outside_since_ns is None else (now_ns - self.outside_since_ns) / 1e9

    def lid_may_open(self, now_ns: int) -> bool:
        """Fresh, was above half of nominal in this run, and now below the limit for three seconds."""
        known = self.fresh(now_ns) and self.seen_suction and self.open_since_ns is not None
        return known and now_ns - (self.open_since_ns or 0) >= LID_HOLD_S * 1e9

    def _integrate(self, at_ns: int, dp_pa: float) -> None:
        if not self.counting or self.at_ns is None or self.dp_pa is None:
            return
        dt_s = (at_ns - self.at_ns) / 1e9
        if dt_s > self.gap_s or self.lost_since_ns is not None:
            self.unread_s += dt_s if self.judging else 0.0
            return
        if self.in_band(dp_pa) and self.in_band(self.dp_pa):
            self.effective_s += dt_s * (dp_pa + self.dp_pa) / (2 * self.suction.dp_pa)
        elif self.judging:
            self.out_of_band_s += dt_s

    def _note_band(self, at_ns: int, dp_pa: float) -> None:
        gap = self._gap_before(at_ns)
        if self.in_band(dp_pa):
            if self.band_since_ns is None or gap:
                self.band_since_ns = at_ns
            self.outside_since_ns = None
        else:
            self.band_since_ns = None
            if self.outside_since_ns is None:
                self.outside_since_ns = at_ns

    def _note_lid(self, at_ns: int, dp_pa: float) -> None:
        if dp_pa > SUCTION_SEEN_SHARE * self.suction.dp_pa:
            self.seen_suction = True
        gap = self._gap_before(at_ns)
        if abs(dp_pa) >= self.lid_open_pa:
            self.open_since_ns = None
        elif self.open_since_ns is None or gap:
            self.open_since_ns = at_ns

    def _gap_before(self, at_ns: int) -> bool:
        late = self.at_ns is not None and at_ns - self.at_ns > self.gap_s * 1e9
        return late or self.lost_since_ns is not None
