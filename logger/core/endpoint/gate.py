"""Pressure gate with hysteresis, and the two effective times that follow from pressure.

`effective_s` is what methods count: the integral of dP/dP0 while |dP - dP0| <= band, else nothing.
`theta_s` is what the powder sees: the same integral without the band, since a sag slows passing and does
not stop it.
"""

from __future__ import annotations

from logger.core.method import Suction

SMOOTHING_S = 2.0
"""Fan ripple of 1 to 3 % must not flip the gate; the powder does not follow it either."""
REOPEN_SHARE = 0.95
"""The gate closes outside the band and opens inside this share of it."""


class PressureGate:
    """Follows dP since the start of suction. Times in s, pressures in Pa."""

    def __init__(self, suction: Suction, fresh_s: float) -> None:
        self._dp0, self._band, self._fresh_s = suction.dp_pa, suction.band_pa, fresh_s
        self._last_t: float | None = None
        self._dp: float | None = None
        self._dp_t = 0.0
        self._smooth: float | None = None
        self._open_since: float | None = None
        self.effective_s = 0.0
        self.theta_s = 0.0

    @property
    def dp_pa(self) -> float | None:
        """Last pressure reading."""
        return self._dp

    @property
    def known(self) -> bool:
        """Whether there ever was a pressure reading."""
        return self._dp is not None

    def ratio(self) -> float:
        """dP/dP0 as the powder feels it; 1 while no pressure is known."""
        return 1.0 if self._dp is None else max(self._dp / self._dp0, 0.0)

    def open_for_s(self, t_s: float) -> float | None:
        """How long the gate has been open without a break; None while it is closed or dP is stale."""
        if self._open_since is None or t_s - self._dp_t > self._fresh_s:
            return None
        return t_s - self._open_since

    def add(self, t_s: float, dp_pa: float | None, counting: bool = True) -> None:
        """One moment: time passes with the pressure known before, then the new one counts. While a run is held
        (`counting` false) the method's effective time stands still."""
        self._pass_time(t_s, counting)
        if dp_pa is None:
            if self._dp is not None and t_s - self._dp_t > self._fresh_s:
                self._open_since = None
            return
        if self._smooth is None:
            self._smooth = dp_pa
        else:
            gap_s = t_s - self._dp_t
            self._smooth += (dp_pa - self._smooth) * gap_s / (gap_s + SMOOTHING_S)
            if gap_s > self._fresh_s:
                self._open_since, self._smooth = None, dp_pa
        self._dp, self._dp_t = dp_pa, t_s
        self._swing(t_s)

    def _pass_time(self, t_s: float, counting: bool) -> None:
        start = max(self._last_t, 0.0) if self._last_t is not None else 0.0
        step_s = max(t_s, 0.0) - start
        self._last_t = t_s
        if step_s <= 0:
            return
        self.theta_s += step_s * self.ratio()
        fresh = t_s - self._dp_t <= self._fresh_s
        if counting and self._dp is not None and fresh and abs(self._dp - self._dp0) <= self._band:
            self.effective_s += step_s * self.ratio()

    def _swing(self, t_s: float) -> None:
        off = abs((self._smooth or 0.0) - self._dp0)
        if off > self._band:
            self._open_since = None
        elif self._open_since is None and off <= REOPEN_SHARE * self._band:
            self._open_since = t_s
