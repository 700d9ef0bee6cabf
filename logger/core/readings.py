"""One reading of an instrument, as the core sees it: already in g or Pa, with its quality.

A reading that must not be used as a number carries its reason as a quality; it is never an exception
and never silently dropped.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Channel(StrEnum):
    """Which instrument spoke."""

    MASS = "mass"
    PRESSURE = "pressure"


class Quality(StrEnum):
    """Whether `value` may be used as a number."""

    OK = "ok"
    OVERLOAD = "overload"
    UNDERLOAD = "underload"
    REJECTED = "rejected"
    """The line did not follow the profile (garbage, wrong unit, cut); `raw` says what came."""
    WRONG_UNIT = "wrong-unit"


@dataclass(frozen=True, slots=True)
class Reading:
    """`value` in g (mass) or Pa (pressure, suction positive); None unless quality is ok.

    `at_ns` is the bench clock where the bytes arrived. `resolution` is one digit of the display in the
    same unit, None when unknown. `raw` is the line as received, non-printing bytes escaped. `repeated`: the
    instrument's own line counter stood still, so the line came twice (not stored: `raw` holds the counter).
    """

    channel: Channel
    at_ns: int
    value: float | None
    quality: Quality = Quality.OK
    stable: bool | None = None
    resolution: float | None = None
    raw: str = ""
    repeated: bool = False
