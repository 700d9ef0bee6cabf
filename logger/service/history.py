"""The run's trace for charts, thinned so that a late watcher gets the whole run in one message."""

from __future__ import annotations

from logger.core.readings import Channel, Quality, Reading

MOST_POINTS = 2000
FIRST_SPACING_NS = 250_000_000
Estimate = tuple[float | None, float | None, float | None]
"""What live mode holds to be true now: load in g, loss rate and its standard uncertainty in % a minute."""
ESTIMATE = ("load_g", "rate_pct_per_min", "rate_u_pct_per_min")
NO_ESTIMATE: Estimate = (None, None, None)


class TraceHistory:
    """Mass with pressure and loss rate beside it, against bench time. Halves its density whenever it is full."""

    def __init__(self) -> None:
        self._every_ns = FIRST_SPACING_NS
        self._dp_pa: float | None = None
        self.estimate: Estimate = NO_ESTIMATE
        self._points: list[tuple[int, float | None, float | None, Estimate]] = []

    def clear(self) -> None:
        """A new run begins."""
        self._every_ns = FIRST_SPACING_NS
        self.estimate = NO_ESTIMATE
        self._points = []

    def add(self, reading: Reading) -> None:
        """One reading; only spaced ones are kept."""
        value = reading.value if reading.quality is Quality.OK else None
        if reading.channel is Channel.PRESSURE:
            self._dp_pa = value
            return
        if self._points and reading.at_ns - self._points[-1][0] < self._every_ns:
            return
        self._points.append((reading.at_ns, value, self._dp_pa, self.estimate))
        if len(self._points) > MOST_POINTS:
            self._points = self._points[::2]
            self._every_ns *= 2

    def columns(self, zero_ns: int, tare_g: float) -> dict[str, list[float | None]]:
        """Columns t_s (from `zero_ns`), mass_g (tare off), dp_pa, and those of `Estimate`."""
        points = self._points
        estimates = {name: [_short(each[3][at]) for each in points] for at, name in enumerate(ESTIMATE)}
        return {
            "t_s": [round((at_ns - zero_ns) / 1e9, 3) for at_ns, _, _, _ in points],
            "mass_g": [None if mass_g is None else round(mass_g - tare_g, 6) for _, mass_g, _, _ in points],
            "dp_pa": [dp_pa for _, _, dp_pa, _ in points],
            **estimates,
        }


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
