"""The letters that stand for events under a chart, the same as their keys where they have one."""

from __future__ import annotations

from collections.abc import Iterable

from logger.core.snapshot import Mark

LETTERS: dict[Mark, str] = {
    "weighed": "W",
    "held": "H",
    "resumed": "R",
    "stopped": "S",
    "endpoint": "E",
    "time-limit": "E",
    "out-of-band": "P",
    "tapped": "T",
    "brushed": "B",
    "lumps": "L",
    "noted": "M",
    "knocked": "K",
}
WORDS = {
    "W": "weighed",
    "H": "hold",
    "R": "resumed",
    "S": "stop",
    "E": "end",
    "P": "pressure off band",
    "T": "tapped",
    "B": "brushed",
    "L": "lumps",
    "M": "note",
    "K": "knock",
}


def legend(letters: Iterable[str]) -> list[str]:
    """What the letters mean, each once: "T tapped", "H hold"."""
    return [f"{letter} {WORDS[letter]}" for letter in dict.fromkeys(letters)]
