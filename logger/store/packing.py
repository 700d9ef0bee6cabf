"""A stretch of batches in a few bytes a reading, exactly reversible to the bytes that were hashed.

The text of readings repeats itself: the raw line holds the same digits as the value. So each reading
becomes a form (everything but the digits), the digits as one whole number, and its time; these are kept
as columns of differences and compressed together. What fits no form is kept as it is.
"""

from __future__ import annotations

import json
import lzma
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import accumulate, pairwise
from statistics import median_low

from logger.store.columns import from_planes, to_planes
from logger.store.forms import Forms, join_line, split_line

MOST_BATCHES = 4096
"""Batches in one stretch, so that unpacking needs little memory."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_NOTHING = "[]"


@dataclass(frozen=True, slots=True)
class Packable:
    """What the chain hashes of one batch, apart from its place: see `chain.batch_hash`."""

    at_ns: int
    utc: str
    events: str
    readings: bytes


def pack(batches: Sequence[Packable]) -> bytes:
    """The batches as bytes. Raises ValueError when they would not come back bit by bit."""
    lines = [line for batch in batches for line in _lines(batch.readings)]
    forms = Forms()
    columns = [split_line(line, forms) for line in lines]
    kinds, digits, times = ([column[i] for column in columns] for i in range(3))
    counts = [len(_lines(batch.readings)) for batch in batches]
    utcs, odd_utcs = _utc_column(batches)
    head = {
        "batches": len(batches),
        "lines": len(lines),
        "forms": forms.texts,
        "odd_utcs": odd_utcs,
        "events": {place: b.events for place, b in enumerate(batches) if b.events != _NOTHING},
    }
    by_channel = forms.channels(kinds)
    parts = [
        to_planes(kinds),
        to_planes(_differences(digits, by_channel)),
        to_planes(_differences(times, by_channel)),
        to_planes(counts),
        to_planes(_late(batches, counts, times)),
        to_planes(_differences(utcs, [0] * len(utcs))),
    ]
    text = json.dumps(head, ensure_ascii=False, separators=(",", ":")).encode()
    packed = lzma.compress(_framed([text, *parts]), preset=6, check=lzma.CHECK_CRC32)
    if unpack(packed) != list(batches):
        raise ValueError("a batch does not come back as it was")
    return packed


def unpack(packed: bytes) -> list[Packable]:
    """The batches again. Raises ValueError for bytes that are damaged or not from `pack`."""
    try:
        text, *parts = _unframed(lzma.decompress(packed))
        return _rebuild(json.loads(text), [from_planes(part) for part in parts])
    except (lzma.LZMAError, EOFError, KeyError, IndexError, TypeError, OverflowError) as error:
        raise ValueError(f"packed batches are damaged ({error})") from None


def _rebuild(head: dict[str, object], columns: list[list[int]]) -> list[Packable]:
    kinds, digits, times, counts, late, utcs = columns
    forms = Forms.of(head["forms"])
    by_channel = forms.channels(kinds)
    digits, times = _sums(digits, by_channel), _sums(times, by_channel)
    lines = [join_line(forms, *column) for column in zip(kinds, digits, times, strict=True)]
    ends = list(accumulate(counts))
    starts = [end - count for end, count in zip(ends, counts, strict=True)]
    blobs = ["".join(lines[start:end]).encode() for start, end in zip(starts, ends, strict=True)]
    newest = _newest(counts, times)
    events, odd = dict(_dict(head["events"])), dict(_dict(head["odd_utcs"]))
    if len(blobs) != head["batches"] or len(lines) != head["lines"]:
        raise ValueError("packed batches are damaged (columns of unequal length)")
    return [
        Packable(
            at_ns=newest[place] + late[place],
            utc=odd[str(place)] if str(place) in odd else _utc(ms),
            events=events.get(str(place), _NOTHING),
            readings=blobs[place],
        )
        for place, ms in enumerate(_sums(utcs, [0] * (len(utcs) - 1)))
    ]


def _dict(value: object) -> dict[str, str]:
    if not isinstance(value, dict):
        raise TypeError("not a table")
    return value


def _lines(readings: bytes) -> list[str]:
    return readings.decode().splitlines(keepends=True) if b"\r" not in readings else _strict_lines(readings)


def _strict_lines(readings: bytes) -> list[str]:
    return [f"{line}\n" for line in readings.decode().split("\n")[:-1]]


def _differences(values: Sequence[int], groups: Sequence[int]) -> list[int]:
    """Each value less the one before it of the same group, less the group's usual step; first comes the step."""
    last: dict[int, int] = {}
    steps = []
    for value, group in zip(values, groups, strict=True):
        steps.append(value - last.get(group, 0))
        last[group] = value
    usual = {group: _usual(steps, groups, group) for group in sorted(last)}
    return [*usual.values(), *(s - usual[g] for s, g in zip(steps, groups, strict=True))]


def _usual(steps: Sequence[int], groups: Sequence[int], group: int) -> int:
    return median_low(step for step, g in zip(steps, groups, strict=True) if g == group)


def _sums(column: Sequence[int], groups: Sequence[int]) -> list[int]:
    known = sorted(set(groups))
    usual = dict(zip(known, column, strict=False))
    total = dict.fromkeys(known, 0)
    values = []
    for step, group in zip(column[len(known) :], groups, strict=True):
        total[group] += step + usual[group]
        values.append(total[group])
    return values


def _newest(counts: Iterable[int], times: Sequence[int]) -> list[int]:
    """The newest arrival of each batch; of the batch before where there was none."""
    newest, start, last = [], 0, 0
    for count in counts:
        last = max(times[start : start + count], default=last)
        newest.append(last)
        start += count
    return newest


def _late(batches: Sequence[Packable], counts: Sequence[int], times: Sequence[int]) -> list[int]:
    return [batch.at_ns - ns for batch, ns in zip(batches, _newest(counts, times), strict=True)]


def _utc_column(batches: Sequence[Packable]) -> tuple[list[int], dict[int, str]]:
    """Milliseconds since 1970, and the texts that are not of the usual form."""
    values: list[int] = []
    odd: dict[int, str] = {}
    for place, batch in enumerate(batches):
        ms = _milliseconds(batch.utc)
        if ms is None:
            odd[place] = batch.utc
        values.append(values[-1] if ms is None and values else ms or 0)
    return values, odd


def _milliseconds(utc: str) -> int | None:
    try:
        moment = datetime.strptime(utc, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
    except ValueError:
        return None
    ms = (moment - _EPOCH) // timedelta(milliseconds=1)
    return ms if _utc(ms) == utc else None


def _utc(ms: int) -> str:
    moment = _EPOCH + timedelta(milliseconds=ms)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _framed(parts: Sequence[bytes]) -> bytes:
    lengths = b"".join(len(part).to_bytes(8, "little") for part in parts)
    return bytes([len(parts)]) + lengths + b"".join(parts)


def _unframed(data: bytes) -> list[bytes]:
    count = data[0]
    begin = 1 + 8 * count
    lengths = [int.from_bytes(data[1 + 8 * i : 9 + 8 * i], "little") for i in range(count)]
    places = list(accumulate(lengths, initial=begin))
    return [data[start:end] for start, end in pairwise(places)]
