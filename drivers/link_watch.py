"""Judges from the lines alone whether an instrument is well: up, silent, or the wrong one. Pure.

A port that is open says nothing; only the age of the last good line does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from drivers.line_codec import LineCodec
from drivers.profile import LineProfile, Mode
from drivers.reading import Quality, Reading
from drivers.transport import Chunk
from drivers.units import Unit

LinkState = Literal["up", "silent", "lost", "absent", "wrong-instrument"]

PERIODS_TO_SILENCE: Final = 3
FOREIGN_LINES: Final = 5
"""So many lines of another instrument, and not one of the expected, are no accident."""


@dataclass(frozen=True, slots=True)
class LinkEvent:
    """A change of a link; `text` is a sentence for the operator."""

    at_ns: int
    state: LinkState
    text: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """A new state of the link and the sentence that goes with it."""

    state: LinkState
    text: str


class LinkWatch:
    """One instrument's line traffic over all openings of its port. Times are real seconds."""

    def __init__(
        self,
        profile: LineProfile,
        port: str,
        others: Sequence[LineProfile] = (),
        *,
        period_s: float,
        garbage_s: float,
    ) -> None:
        self._profile = profile
        self._port = port
        self._others = [LineCodec(other) for other in others if other.fields != profile.fields]
        self._silence_s = max(profile.silence_s, PERIODS_TO_SILENCE * period_s)
        self._garbage_s = max(garbage_s, self._silence_s)
        self._told: Verdict | None = None
        self._since_s = 0.0
        self._good_since_s: float | None = None
        self._last_bytes_s: float | None = None
        self._foreign = 0

    @property
    def quiet_since_s(self) -> float:
        """When the last good line came, or the port was opened."""
        return self._since_s

    @property
    def silent_at_s(self) -> float:
        """When the link will count as silent if no good line comes."""
        return self._since_s + self._silence_s

    def good_for_s(self, now_s: float) -> float:
        """How long the link has been good without a break, 0 when it is not."""
        return 0.0 if self._good_since_s is None else now_s - self._good_since_s

    def opened(self, now_s: float) -> None:
        """The port has been opened anew; nothing is known of the instrument yet."""
        self._since_s = now_s
        self._good_since_s = None
        self._last_bytes_s = None
        self._foreign = 0
        for other in self._others:
            other.reset()

    def closed(self) -> None:
        """The port is shut; whatever comes next is news."""
        self._good_since_s = None
        self._told = None

    def heard(
        self, chunks: Sequence[Chunk], readings: Sequence[Reading], wrong_unit: str, now_s: float
    ) -> Verdict | None:
        """Bytes came and gave these readings; `wrong_unit` is the unit text of the last wrong-unit line."""
        self._last_bytes_s = now_s
        qualities = [reading.quality for reading in readings]
        foreign = qualities.count(Quality.WRONG_UNIT)
        if foreign and _of_other_quantity(self._profile, wrong_unit):
            self._foreign += foreign
            return self._perhaps_foreign(f"lines in {wrong_unit}")
        if qualities.count(Quality.REJECTED) < len(qualities):
            return self._good_line(now_s)
        if self._good_since_s is None:
            return self._listen_for_others(b"".join(data for data, _ in chunks))
        return None

    def tick(self, now_s: float) -> Verdict | None:
        """Time has passed."""
        quiet_s = now_s - self._since_s
        if quiet_s < self._silence_s or (self._told and self._told.state == "wrong-instrument"):
            return None
        self._good_since_s = None
        noisy = self._last_bytes_s is not None and now_s - self._last_bytes_s < self._silence_s
        if noisy and quiet_s >= self._garbage_s:
            return self._news(
                "silent",
                f"no valid line in {self._garbage_s:g} s at {self._port}: "
                "check baud rate, parity and profile.",
            )
        if self._told is not None and self._told.state == "silent":
            return None
        return self._news("silent", self._silence_text(noisy))

    def _silence_text(self, noisy: bool) -> str:
        where = f"at {self._port} for {self._silence_s:g} s"
        if noisy:
            return f"only unreadable lines {where}: check cable, baud rate and profile."
        if self._profile.mode is Mode.POLLED:
            return f"no answer {where}: check that the instrument is on, and its cable and settings."
        return f"nothing received {where}: check that the instrument is on and set to send by itself."

    def _good_line(self, now_s: float) -> Verdict | None:
        self._since_s = now_s
        self._foreign = 0
        if self._good_since_s is None:
            self._good_since_s = now_s
        elif self._told is not None and self._told.state == "up":
            return None
        return self._news("up", f'"{self._profile.title}" answers at {self._port}.')

    def _listen_for_others(self, data: bytes) -> Verdict | None:
        for other in self._others:
            other.receive(data, 0)
            known = sum(r.quality is not Quality.REJECTED for r in other.readings())
            if known:
                self._foreign += known
                return self._perhaps_foreign(f'lines of "{other.profile.title}"')
        return None

    def _perhaps_foreign(self, what: str) -> Verdict | None:
        if self._foreign < FOREIGN_LINES:
            return None
        self._good_since_s = None
        expected = f'"{self._profile.title}"'
        return self._news(
            "wrong-instrument",
            f"the instrument at {self._port} sends {what}, expected is {expected}: "
            "the ports may be swapped, exchange them at the rig or in the bench file.",
        )

    def _news(self, state: LinkState, text: str) -> Verdict | None:
        verdict = Verdict(state, text)
        if verdict == self._told:
            return None
        self._told = verdict
        return verdict


def _of_other_quantity(profile: LineProfile, unit_text: str) -> bool:
    unit = next((unit for unit in Unit if unit.value == unit_text), None)
    return unit is not None and unit.quantity is not profile.quantity
