"""Bytes of one instrument to readings, without any input or output of its own.

Invariants: any split of the same bytes gives the same readings; nothing received raises; a fragment (the
start of the stream, a line without its end) never becomes a value; memory is bounded by the longest line
and by `MOST_WAITING` lines.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from enum import Enum
from typing import Final

from drivers.line_grammar import LineGrammar
from drivers.profile import LineProfile
from drivers.reading import Quality, Reading, escape_raw

MOST_WAITING: Final = 100_000
"""Lines kept for a caller that does not fetch them; 50 s at the fastest stream promised (2,000 lines/s)."""

MOST_RAW_BYTES: Final = 128
"""Bytes of a rejected line that are kept to be shown."""


class NeedData(Enum):
    """The type of the one value that says that no whole line is there yet."""

    NEED_DATA = "need data"


NEED_DATA: Final = NeedData.NEED_DATA


@dataclass(slots=True)
class LineCounters:
    """What went through since the codec was made; a reset does not clear it."""

    lines: int = 0
    """Lines handed on as readings, rejected ones included."""
    rejected: int = 0
    overlong: int = 0
    repeated: int = 0
    fragments: int = 0
    """First lines of a link, dropped because the port may have been opened in the middle of one."""
    overrun: int = 0
    """Lines dropped because the caller did not fetch them."""


class LineCodec:
    """Splits, checks and converts the lines of one profile."""

    def __init__(self, profile: LineProfile) -> None:
        self.profile: Final = profile
        self.counters: Final = LineCounters()
        self.wrong_unit = ""
        """The unit text of the last line in a wrong unit."""
        self._grammar = LineGrammar(profile)
        self._terminator = profile.terminator
        self._unit = profile.unit.base
        self._waiting: deque[tuple[bytes, int, bool]] = deque()
        self._tail = b""
        self._in_step = False
        self._cut = False
        self._last_counter: int | None = None

    def request_bytes(self) -> bytes:
        """What to send to get one reading; empty for a streaming instrument."""
        return self.profile.request

    def reset(self) -> None:
        """The link is new: what came before is forgotten, the first line may be half and is dropped."""
        self._waiting.clear()
        self._tail = b""
        self._in_step = False
        self._cut = False
        self._last_counter = None

    def receive(self, data: bytes, at_ns: int) -> None:
        """Takes bytes that arrived at `at_ns` on the caller's clock."""
        *whole, tail = (self._tail + data).split(self._terminator)
        for line in whole:
            self._take(line, at_ns)
        self._tail = tail
        if len(tail) > self.profile.max_line_bytes + len(self._terminator):
            self._cut_tail(at_ns)

    def next_reading(self) -> Reading | NeedData:
        """The oldest line as a reading, or NEED_DATA."""
        if not self._waiting:
            return NEED_DATA
        return self._reading(*self._waiting.popleft())

    def readings(self) -> list[Reading]:
        """All whole lines that are there, oldest first."""
        waiting, self._waiting = self._waiting, deque()
        return [self._reading(*item) for item in waiting]

    def _take(self, line: bytes, at_ns: int) -> None:
        if not self._in_step:
            self._in_step = True
            self.counters.fragments += 1
        elif self._cut:
            self._cut = False
        elif len(line) > self.profile.max_line_bytes:
            self._wait(line[:MOST_RAW_BYTES], at_ns, overlong=True)
        else:
            self._wait(line, at_ns, overlong=False)

    def _cut_tail(self, at_ns: int) -> None:
        """A line without an end: reported once, then skipped up to the next terminator."""
        if self._in_step and not self._cut:
            self._cut = True
            self._wait(self._tail[:MOST_RAW_BYTES], at_ns, overlong=True)
        self._tail = self._tail[-len(self._terminator) :]

    def _wait(self, line: bytes, at_ns: int, *, overlong: bool) -> None:
        if len(self._waiting) >= MOST_WAITING:
            self._waiting.popleft()
            self.counters.overrun += 1
        self._waiting.append((line, at_ns, overlong))
        self.counters.overlong += overlong

    def _reading(self, line: bytes, at_ns: int, overlong: bool) -> Reading:
        self.counters.lines += 1
        text = line.decode("latin-1")
        parsed = None if overlong or not text.isascii() else self._grammar.parse(text)
        if parsed is None:
            self.counters.rejected += 1
            raw = escape_raw(line[:MOST_RAW_BYTES])
            return Reading(at_ns, None, self._unit, Quality.REJECTED, None, None, raw)
        if parsed.quality is Quality.WRONG_UNIT:
            self.wrong_unit = parsed.unit_text
        repeated = parsed.counter is not None and parsed.counter == self._last_counter
        self._last_counter = parsed.counter
        self.counters.repeated += repeated
        raw = text if text.isprintable() and "\\" not in text else escape_raw(line)
        return Reading(
            at_ns, parsed.value, self._unit, parsed.quality, parsed.stable, parsed.resolution, raw, repeated
        )
