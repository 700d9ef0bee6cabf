"""The real codec over bytes that were heard: how much of it the profile reads."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from drivers.line_codec import LineCodec
from drivers.profile import LineProfile
from drivers.reading import Quality, Reading
from drivers.transport import Chunk

_GOOD = (Quality.OK, Quality.OVERLOAD, Quality.UNDERLOAD)


@dataclass(frozen=True, slots=True)
class Proof:
    """Lines that went through the codec, those it could read, and the last of them."""

    lines: int
    read: int
    last: Reading | None
    refused: str
    """A line that was not read, as it came; empty when all were."""


def prove(profile: LineProfile, chunks: Iterable[Chunk]) -> Proof:
    """Runs the codec over the chunks."""
    codec = LineCodec(profile)
    for data, at_ns in chunks:
        codec.receive(data, at_ns)
    readings = codec.readings()
    good = [reading for reading in readings if reading.quality in _GOOD]
    refused = next((reading.raw for reading in readings if reading.quality not in _GOOD), "")
    return Proof(len(readings), len(good), good[-1] if good else None, refused)
