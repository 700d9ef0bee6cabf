"""Judges from the answers alone whether a Modbus instrument is well, and says in words what is not. Pure.

An open port says nothing; only the age of the last usable answer does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from drivers.line_codec import LineCodec
from drivers.link_watch import FOREIGN_LINES, PERIODS_TO_SILENCE, LinkState, Verdict
from drivers.modbus_profile import ModbusProfile, Span
from drivers.profile import LineProfile
from drivers.reading import Quality

_OTHER_CODES: Final = {
    4: "it reports a failure of its own (exception 4): switch it off and on, then have it checked",
    5: "it needs longer to answer (exception 5): lengthen period_s in the profile",
    6: "it is busy (exception 6): lengthen period_s in the profile",
    10: "the converter finds no way to it (exception 10): check the converter's settings",
    11: "the converter gets no answer from it (exception 11): check unit_id, its cable and its power",
}


def refusal_words(code: int, span: Span) -> str:
    """An exception response in the operator's words, with what to do."""
    kind, count = span.kind, span.count
    if code == 1:
        other = "input" if kind == "holding" else "holding"
        return f'it does not know {kind} registers (exception 1): try register = "{other}" in the profile'
    if code == 2:
        last = span.address + count - 1
        place = f"{span.address}" if count == 1 else f"{span.address} to {last}"
        return f"it has no {kind} register {place} (exception 2): check the address in the profile, it counts from 0"
    if code == 3:
        return (
            f"it does not give {count} registers at once (exception 3): check type and address in the profile"
        )
    return _OTHER_CODES.get(code, f"it refuses with exception {code}: look it up in its manual")


class ModbusWatch:
    """One instrument's answers over all openings of its port. Times are real seconds."""

    def __init__(
        self, profile: ModbusProfile, port: str, others: Sequence[LineProfile] = (), *, period_s: float
    ) -> None:
        self._profile = profile
        self._port = port
        self._others = [LineCodec(other) for other in others]
        self._silence_s = max(profile.silence_s, PERIODS_TO_SILENCE * period_s)
        self._told: Verdict | None = None
        self._since_s = 0.0
        self._good_since_s: float | None = None
        self._foreign = 0
        self.identity = ""

    @property
    def quiet_since_s(self) -> float:
        """When the last usable answer came, or the port was opened."""
        return self._since_s

    @property
    def silent_at_s(self) -> float:
        """When the link will count as silent if no usable answer comes."""
        return self._since_s + self._silence_s

    def good_for_s(self, now_s: float) -> float:
        """How long the link has been good without a break, 0 when it is not."""
        return 0.0 if self._good_since_s is None else now_s - self._good_since_s

    def opened(self, now_s: float) -> None:
        """The port has been opened anew; nothing is known of the instrument yet."""
        self._since_s = now_s
        self._good_since_s = None
        self._foreign = 0
        self.identity = ""
        for other in self._others:
            other.reset()

    def closed(self) -> None:
        """The port is shut; whatever comes next is news."""
        self._good_since_s = None
        self._told = None

    def answered(self, now_s: float) -> Verdict | None:
        """A usable answer came."""
        self._since_s = now_s
        self._foreign = 0
        if self._good_since_s is None:
            self._good_since_s = now_s
        number = f", serial number {self.identity}" if self.identity else ""
        return self._news("up", f'"{self._profile.title}" answers at {self._port}{number}.')

    def unusable(self, why: str, now_s: float) -> Verdict | None:
        """An answer came that gives no reading; `why` is a half sentence about the instrument."""
        return self._silent(now_s, f"the instrument at {self._port} answers, but {why}.")

    def unanswered(self, heard: bytes, now_s: float) -> Verdict | None:
        """A request stayed without an answer; `heard` is what came instead."""
        if self._good_since_s is None and (other := self._line_of_other(heard)):
            return self._news(
                "wrong-instrument",
                f'the instrument at {self._port} sends {other}, expected is "{self._profile.title}": '
                "the ports may be swapped, exchange them at the rig or in the bench file.",
            )
        where = f"at {self._port} for {self._silence_s:g} s"
        if heard:
            return self._silent(now_s, f"only unreadable bytes {where}: check cable, baud rate and parity.")
        advice = f"check that the instrument is on, its cable, and that it is unit {self._profile.unit_id}"
        return self._silent(now_s, f"no answer {where}: {advice}.")

    def stranger(self, found: str, expected: str) -> Verdict | None:
        """The instrument has another serial number than the bench file names."""
        self._good_since_s = None
        return self._news(
            "wrong-instrument",
            f"the instrument at {self._port} has the serial number {found}, the bench file names {expected}: "
            "plug the right one in, or correct `identity` in the bench file.",
        )

    def _line_of_other(self, heard: bytes) -> str:
        for other in self._others:
            other.receive(heard, 0)
            self._foreign += sum(r.quality is not Quality.REJECTED for r in other.readings())
            if self._foreign >= FOREIGN_LINES:
                return f'lines of "{other.profile.title}"'
        return ""

    def _silent(self, now_s: float, text: str) -> Verdict | None:
        if now_s < self.silent_at_s or (self._told and self._told.state == "wrong-instrument"):
            return None
        self._good_since_s = None
        return self._news("silent", text)

    def _news(self, state: LinkState, text: str) -> Verdict | None:
        verdict = Verdict(state, text)
        if verdict == self._told:
            return None
        self._told = verdict
        return verdict
