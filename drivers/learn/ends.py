"""Where a line ends: told from the pauses between lines, else from the control characters between them."""

from __future__ import annotations

import itertools
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Final

from drivers.learn.heard import CannotTell, Line, Passage, Step, all_bytes
from drivers.learn.tokens import tokens_of

PAUSE_NS: Final = 20_000_000
"""A gap this long is no gap within a line, even at 600 baud (17 ms a character)."""
ENOUGH_PAUSES: Final = 6
AGREE: Final = 0.9
MOST_SPOILT: Final = 0.04
"""Share of lines that a bad contact may have spoilt; more is a property of the instrument."""
SELDOM: Final = 2
_CONTROL: Final = re.compile(rb"[\x00-\x08\x0a-\x1f\x7f]+")
"""Control characters but the tab, which stands between fields."""
_STARTERS: Final = b"\x01\x02"
"""SOH and STX begin a message, they never end one (ISO/IEC 646 control characters; from memory)."""
_LONGEST_LINE: Final = 240

CHECKSUM_SENTENCE: Final = (
    "each message ends with a character that changes, probably a checksum, so a line has no fixed end; "
    "switch the checksum off at the instrument, or choose another output format"
)
NO_END_SENTENCE: Final = (
    "the lines have no character at their end, only pauses between them; set the instrument to send "
    "carriage return and line feed"
)


def line_end(passages: Sequence[Passage]) -> bytes:
    """The characters that end a line. Raises CannotTell."""
    data = all_bytes(passages)
    before_pauses = _before_pauses(passages)
    if len(before_pauses) >= ENOUGH_PAUSES:
        return _from_pauses(before_pauses)
    return _from_runs(data)


def lines_of(passages: Sequence[Passage], end: bytes) -> list[Line]:
    """Whole lines in order; the first may be a fragment and is left out. Raises CannotTell."""
    lines = list(_split(passages, end))
    short = [line for line in lines if len(line.text) <= _LONGEST_LINE]
    if len(short) < (1 - MOST_SPOILT) * len(lines):
        raise CannotTell(f"lines are longer than {_LONGEST_LINE} characters")
    good = [line for line in short if line.text.isascii()]
    if len(good) < (1 - MOST_SPOILT) * len(lines):
        raise CannotTell(
            "the lines carry characters beyond ASCII, which are not read; choose another output format"
        )
    return good


def without_spoilt(lines: Sequence[Line]) -> list[Line]:
    """Leaves out lines of a shape that hardly any other has, as a lost or a spoilt byte makes them.

    All of them are given back when they are too many to be accidents.
    """
    shapes = Counter(_shape(line.text) for line in lines)
    good = [line for line in lines if shapes[_shape(line.text)] > SELDOM]
    return good if len(good) >= (1 - MOST_SPOILT) * len(lines) else list(lines)


def _shape(text: str) -> tuple[str, ...]:
    return tuple(token.text if token.kind in ("char", "word") else token.kind for token in tokens_of(text))


def _split(passages: Sequence[Passage], end: bytes) -> Iterator[Line]:
    tail, first = b"", True
    for passage in passages:
        for data, at_ns in passage.chunks:
            *whole, tail = (tail + data).split(end)
            for line in whole:
                if not first:
                    yield Line(line.decode("latin-1"), at_ns / 1e9, passage.step)
                first = False


def _before_pauses(passages: Sequence[Passage]) -> list[bytes]:
    """The last few bytes before each pause."""
    chunks = [chunk for passage in passages for chunk in passage.chunks if chunk[0]]
    pauses = [after[1] - before[1] for before, after in itertools.pairwise(chunks)]
    long_ns = _long_pause_ns(pauses)
    found: list[bytes] = []
    heard = b""
    for (data, _), pause_ns in zip(chunks, pauses, strict=False):
        heard = (heard + data)[-64:]
        if pause_ns >= long_ns:
            found.append(heard)
    return found


def _long_pause_ns(pauses: Sequence[int]) -> float:
    """A slow line, or an adapter that hands on a few bytes at a time, pauses within a line as well, but shortly."""
    real = sorted(pause for pause in pauses if pause >= PAUSE_NS)
    return max(PAUSE_NS, 0.3 * real[int(0.95 * len(real))]) if real else PAUSE_NS


def _from_pauses(before: list[bytes]) -> bytes:
    """The control characters that stand before most pauses. Lines of a burst have one pause together."""
    tails = Counter(_control_tail(heard) for heard in before)
    end, count = tails.most_common(1)[0]
    if count >= AGREE * len(before) and end:
        return end
    if len({heard[-1:] for heard in before}) > 3 and any(b"\x03" in heard[-4:-1] for heard in before):
        raise CannotTell(CHECKSUM_SENTENCE)
    raise CannotTell(NO_END_SENTENCE)


def _control_tail(heard: bytes) -> bytes:
    found = re.search(rb"[\x00-\x08\x0a-\x1f\x7f]{1,4}$", heard)
    return _without_start(found.group()) if found else b""


def _from_runs(data: bytes) -> bytes:
    """No pauses: the run of control characters that separates all lines."""
    runs = Counter(match.group() for match in _CONTROL.finditer(data))
    ends = Counter({run: count for run, count in runs.items() if _without_start(run)})
    if not ends:
        raise CannotTell(NO_END_SENTENCE)
    run, count = ends.most_common(1)[0]
    if count < AGREE * sum(ends.values()) or len(_without_start(run)) > 4:
        raise CannotTell("the characters between the lines change, so their end is not told")
    return _without_start(run)


def _without_start(run: bytes) -> bytes:
    """The run up to a character that begins the next message."""
    at = next((i for i, byte in enumerate(run) if byte in _STARTERS), len(run))
    return run[:at]


def period_s(lines: Sequence[Line]) -> float:
    """Median time between lines that were heard without a person's hand in between, s."""
    gaps = sorted(
        b.at_s - a.at_s for a, b in itertools.pairwise(lines) if a.step is b.step is not Step.BETWEEN
    )
    if not gaps:
        return 1.0
    whole = sum(gaps) / len(gaps)  # bursts: many zeros, one long wait
    median = gaps[len(gaps) // 2]
    return float(f"{max(whole if median < 0.2 * whole else median, 0.001):.2g}")
