"""Readings of a batch as bytes, exactly reversible: one line a reading, oldest first.

Fields: channel, arrival (ns), quality, stable, resolution, value, raw; separated by tabs. Numbers are the
shortest decimal text that gives the same binary number back.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from logger.core.readings import Channel, Quality, Reading

_STABLE = {True: "1", False: "0", None: "-"}
_STABLE_BACK = {text: value for value, text in _STABLE.items()}


def encode(readings: Iterable[Reading]) -> bytes:
    """The batch as bytes. Raw text has no control characters (drivers escape them)."""
    return "".join(_line(reading) for reading in readings).encode("utf-8", "backslashreplace")


def decode(data: bytes) -> list[Reading]:
    """Back to readings. Raises ValueError for bytes that this codec has not written."""
    return [_reading(line) for line in data.decode().split("\n") if line]


def _line(r: Reading) -> str:
    value = "" if r.value is None else repr(r.value)
    resolution = "" if r.resolution is None else repr(r.resolution)
    raw = r.raw.replace("\t", "\\t").replace("\n", "\\n")
    return f"{r.channel[0]}\t{r.at_ns}\t{r.quality}\t{_STABLE[r.stable]}\t{resolution}\t{value}\t{raw}\n"


def _reading(line: str) -> Reading:
    fields: Sequence[str] = line.split("\t")
    channel, at_ns, quality, stable, resolution, value, raw = fields
    return Reading(
        channel=Channel.MASS if channel == "m" else Channel.PRESSURE,
        at_ns=int(at_ns),
        value=float(value) if value else None,
        quality=Quality(quality),
        stable=_STABLE_BACK[stable],
        resolution=float(resolution) if resolution else None,
        raw=raw,
    )
