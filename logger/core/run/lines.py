"""Watches how the lines of one instrument come: their decimals, doubled lines, bursts, and their rate.

None of these makes a reading wrong by itself, and none shows in the figures; so each is said, once a run.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from logger.core.readings import Quality, Reading

BURST_LINES = 5
"""So many lines at once after a pause were held back on their way: by an adapter, or by a busy computer."""
PAUSE_SHARE = 0.5
TOGETHER_SHARE = 0.1
"""Both as shares of the time after which a reading is stale."""
WINDOW_GAPS = 5.0
"""The rate is counted over so many stale times: 10 s on a bench that is not sped up."""
RATE_FACTOR = 1.5
DOUBTFUL_SHARE = 0.05
"""More repeats than this among the lines of a window are no accident."""

Finding = tuple[str, str]
"""Key and sentence of a deviation."""


@dataclass(slots=True)
class LineWatch:
    """Feed it every reading of one instrument in order. Times on the bench clock.

    `what` names the instrument in sentences, `key` in keys; `unit` is that of its readings. `period_s` is the
    time between lines that the profile names, None where it names none.
    """

    what: str
    key: str
    unit: str
    gap_s: float
    period_s: float | None = None
    digit: float | None = None
    """One digit of the display when the run began, None before the first line that shows it."""
    _last_ns: int | None = None
    _pause_s: float = 0.0
    _burst: int = 0
    _burst_from_ns: int = 0
    _window_from_ns: int | None = None
    _lines: int = 0
    _repeats: int = 0
    _found: list[Finding] = field(default_factory=list)

    def add(self, reading: Reading) -> list[Finding]:
        """One reading of any quality; what was found at it."""
        self._found = []
        self._decimals(reading)
        self._burst_after_pause(reading.at_ns)
        self._count(reading)
        self._last_ns = reading.at_ns
        return self._found

    def _decimals(self, reading: Reading) -> None:
        if reading.quality is not Quality.OK or reading.resolution is None:
            return
        if self.digit is None:
            self.digit = reading.resolution
        elif abs(reading.resolution - self.digit) > 1e-3 * self.digit:
            self._found.append(
                (
                    f"{self.key}-decimals",
                    f"The {self.what} shows steps of {reading.resolution:g} {self.unit} now; "
                    f"it showed {self.digit:g} {self.unit} when the run began.",
                )
            )

    def _burst_after_pause(self, at_ns: int) -> None:
        since_s = 0.0 if self._last_ns is None else (at_ns - self._last_ns) / 1e9
        if since_s >= PAUSE_SHARE * self.gap_s:
            self._pause_s, self._burst, self._burst_from_ns = since_s, 1, at_ns
        elif self._burst and at_ns - self._burst_from_ns <= TOGETHER_SHARE * self.gap_s * 1e9:
            self._burst += 1
            if self._burst == BURST_LINES:
                self._say_burst()
        else:
            self._burst = 0

    def _say_burst(self) -> None:
        text = f"Lines of the {self.what} were held back and came at once: times of arrival are not times of reading."
        self._found.append((f"{self.key}-burst", text))

    def _count(self, reading: Reading) -> None:
        if self._window_from_ns is None:
            self._window_from_ns = reading.at_ns
        span_s = (reading.at_ns - self._window_from_ns) / 1e9
        if span_s >= WINDOW_GAPS * self.gap_s:
            self._judge(span_s)
            self._window_from_ns, self._lines, self._repeats = reading.at_ns, 0, 0
        self._lines += 1
        self._repeats += reading.repeated

    def _judge(self, span_s: float) -> None:
        if self._repeats > DOUBTFUL_SHARE * self._lines:
            text = f"The {self.what} sends lines twice: its own count of lines stands still between them."
            self._found.append((f"{self.key}-repeats", text))
        if self.period_s is not None and self._lines > RATE_FACTOR * span_s / self.period_s:
            text = (
                f"The {self.what} sends more lines than its profile says (one in {self.period_s:g} s): "
                "lines are doubled, or the instrument is set to another rate."
            )
            self._found.append((f"{self.key}-rate", text))
