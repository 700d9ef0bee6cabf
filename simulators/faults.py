"""Faults that can be switched while the bench runs: on the display, on the wire. Each shows in the bytes sent.

A fault changes what is shown (`shown`), how it is said (`manner`), how often (`period_ns`), or what becomes
of the finished line on its way (`shape`). Times are bench time in ns.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from simulators.dialects import AS_DELIVERED, Manner, Shown

SECOND_NS = 1_000_000_000
FOR_EVER_NS = 1 << 62

BURST_NS = 2 * SECOND_NS
PIECE_PAUSE_NS = 4_000_000
FLOOD_PERIOD_NS = 500_000
ENDLESS_BYTES = 1 << 20

NONSENSE = ("nan", "inf", "-inf", "1e999", "1_0.5", "１２.５", "--1.0", "1.2.3", "0x1f", "", "+", "1 2")
"""Number texts that a lenient reader takes for numbers, and some that nobody can."""

KINDS: dict[str, str] = {
    "unit-change": "says its numbers in another unit",
    "fewer-decimals": "shows one decimal less",
    "unstable": "never calls its reading stable",
    "overload": "shows the overload mark",
    "underload": "shows the underload mark",
    "inverted": "shows the opposite sign",
    "nonsense": "sends number texts that are no numbers",
    "garbage": "sends bursts of random bytes between its lines",
    "wrong-baud": "sends bytes as of another baud rate",
    "half": "loses the second half of each second line",
    "pieces": "sends each line in small pieces",
    "silence": "sends nothing",
    "frozen": "repeats one line",
    "duplicate": "sends each line twice",
    "burst": "holds its lines for two seconds and sends them at once",
    "endless": "sends a line of 1 MiB without an end, once",
    "flood": "sends 2000 lines a second",
}
"""Every fault of an instrument, and what it does, as the second half of a sentence."""


@dataclass(slots=True)
class Fault:
    """A running fault: from when, until when."""

    since_ns: int
    until_ns: int


class WireFaults:
    """The faults of one instrument; `period_s` is None for one that speaks only when asked."""

    def __init__(self, period_s: float | None, other_unit: str | None, rng: np.random.Generator) -> None:
        self._period_ns = None if period_s is None else round(period_s * SECOND_NS)
        self._other_unit = other_unit
        self._rng = rng
        self._active: dict[str, Fault] = {}
        self._frozen_line: bytes | None = None
        self._lines = 0

    def start(self, kind: str, now_ns: int, seconds: float | None = None) -> None:
        """Starts a fault of KINDS for some seconds of bench time, or until it is stopped."""
        if kind not in KINDS:
            raise KeyError(kind)
        until_ns = FOR_EVER_NS if seconds is None else now_ns + round(seconds * SECOND_NS)
        self._active[kind] = Fault(now_ns, until_ns)
        if kind == "frozen":
            self._frozen_line = None

    def stop(self, kind: str | None = None) -> None:
        """Ends one fault, or all."""
        if kind is None:
            self._active.clear()
        else:
            self._active.pop(kind, None)

    def active(self, at_ns: int) -> tuple[str, ...]:
        """The faults that act at this time."""
        self._active = {kind: fault for kind, fault in self._active.items() if at_ns < fault.until_ns}
        return tuple(self._active)

    def _has(self, kind: str, at_ns: int) -> bool:
        fault = self._active.get(kind)
        return fault is not None and at_ns < fault.until_ns

    def period_ns(self, at_ns: int) -> int | None:
        """Time between two lines sent unasked, None for an instrument that waits to be asked."""
        if self._active and self._has("flood", at_ns):
            return FLOOD_PERIOD_NS
        return self._period_ns

    def shown(self, shown: Shown, at_ns: int) -> Shown:
        """What the display makes of the measurement."""
        if not self._active:
            return shown
        if self._has("inverted", at_ns):
            shown = replace(shown, value=-shown.value)
        if self._has("unstable", at_ns):
            shown = replace(shown, stable=False)
        for state in ("overload", "underload"):
            if self._has(state, at_ns):
                shown = replace(shown, state=state)
        return shown

    def manner(self, at_ns: int) -> Manner:
        """How the display says it."""
        if not self._active:
            return AS_DELIVERED
        number = NONSENSE[self._lines % len(NONSENSE)] if self._has("nonsense", at_ns) else None
        return Manner(
            unit=self._other_unit if self._has("unit-change", at_ns) else None,
            fewer_decimals=int(self._has("fewer-decimals", at_ns)),
            number_text=number,
        )

    def shape(self, line: bytes, at_ns: int) -> list[tuple[int, bytes]]:
        """What goes on the wire for this line, and when. Empty when nothing does."""
        self._lines += 1
        if not self._active:
            return [(at_ns, line)]
        if self._has("silence", at_ns):
            return []
        return self._timed(self._altered(line, at_ns), at_ns)

    def _altered(self, line: bytes, at_ns: int) -> bytes:
        if self._has("frozen", at_ns):
            self._frozen_line = self._frozen_line or line
            line = self._frozen_line
        if self._has("half", at_ns) and self._lines % 2:
            line = line[: len(line) // 2]
        if self._has("wrong-baud", at_ns):
            line = bytes(self._random(len(line)) | 0x80)
        if self._has("duplicate", at_ns):
            line = line + line
        if self._has("garbage", at_ns):
            line = bytes(self._random(int(self._rng.integers(1, 24)))) + line
        return line

    def _timed(self, line: bytes, at_ns: int) -> list[tuple[int, bytes]]:
        if self._has("endless", at_ns):
            self.stop("endless")
            return [(at_ns, bytes(self._random(ENDLESS_BYTES) % 10 + 48)), (at_ns, line)]
        if self._has("burst", at_ns):
            held_ns = (at_ns - self._active["burst"].since_ns) % BURST_NS
            return [(at_ns + BURST_NS - held_ns, line)]
        if self._has("pieces", at_ns):
            return self._pieces(line, at_ns)
        return [(at_ns, line)]

    def _pieces(self, line: bytes, at_ns: int) -> list[tuple[int, bytes]]:
        pieces: list[tuple[int, bytes]] = []
        start = 0
        while start < len(line):
            length = 3 if len(pieces) % 2 else 1
            pieces.append((at_ns + len(pieces) * PIECE_PAUSE_NS, line[start : start + length]))
            start += length
        return pieces

    def _random(self, count: int) -> np.ndarray[tuple[int], np.dtype[np.uint8]]:
        return self._rng.integers(0, 256, count, dtype=np.uint8)
