"""The run's trace for charts, thinned so that a late watcher gets the whole run in one message."""

from __future__ import annotations

from logger.core.readings import Channel, Quality, Reading

MOST_POINTS = 2000
FIRST_SPACING_NS = 250_000_000
Rate = tuple[float | None, float | None]
NO_RATE: Rate = (None, None)


class TraceHistory:
    """Mass with pressure and loss rate beside it, against bench time. Halves its density whenever it is full."""

    def __init__(self) -> None:
        self._every_ns = FIRST_SPACING_NS
        self._dp_pa: float | None = None
        self.rate: Rate = NO_RATE
        """The newest loss rate of live mode with its standard uncertainty, % of the charge per minute."""
        self._points: list[tuple[int, float | None, float | None, Rate]] = []

    def clear(self) -> None:
        """A new run begins."""
        self._every_ns = FIRST_SPACING_NS
        self.rate = NO_RATE
        self._points = []

    def add(self, reading: Reading) -> None:
        """One reading; only spaced ones are kept."""
        value = reading.value if reading.quality is Quality.OK else None
        if reading.channel is Channel.PRESSURE:
            self._dp_pa = value
            return
        if self._points and reading.at_ns - self._points[-1][0] < self._every_ns:
            return
        self._points.append((reading.at_ns, value, self._dp_pa, self.rate))
        if len(self._points) > MOST_POINTS:
            self._points = self._points[::2]
            self._every_ns *= 2

    def columns(self, zero_ns: int, tare_g: float) -> dict[str, list[float | None]]:
        """Columns t_s (from `zero_ns`), mass_g (tare off), dp_pa, rate_pct_per_min, rate_u_pct_per_min."""
        points = self._points
        return {
            "t_s": [round((at_ns - zero_ns) / 1e9, 3) for at_ns, _, _, _ in points],
            "mass_g": [None if mass_g is None else round(mass_g - tare_g, 6) for _, mass_g, _, _ in points],
            "dp_pa": [dp_pa for _, _, dp_pa, _ in points],
            "rate_pct_per_min": [_short(rate[0]) for _, _, _, rate in points],
            "rate_u_pct_per_min": [_short(rate[1]) for _, _, _, rate in points],
        }


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
