"""A power cut, replayed: the log of writes and syncs up to a moment, with any part of what was not synced lost.

Writes that were not synced reach the disk in any order and in pieces of a sector, or not at all. Files
appear with their first sync and vanish at once; that is how common journaling file systems behave.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SECTOR = 512
ACKS = "acks"
"""A file of this name is the program's word that something is durable; it is no part of the disk."""


@dataclass(frozen=True, slots=True)
class Op:
    """One call: W write, S sync, T cut to `offset`, U remove, R rename to `data`."""

    kind: str
    offset: int
    name: str
    data: bytes


def read_log(path: Path) -> list[Op]:
    """All calls in order."""
    text, place, ops = path.read_bytes(), 0, []
    while place < len(text):
        end = text.index(b"\n", place)
        kind, offset, size, name = text[place:end].decode().split("\t")
        place = end + 1
        length = int(size) if kind in "WR" else 0
        ops.append(Op(kind, int(offset), Path(name).name, text[place : place + length]))
        place += length
    return ops


@dataclass
class _File:
    durable: bytearray = field(default_factory=bytearray)
    waiting: list[Op] = field(default_factory=list)


class Disk:
    """What is on the platters, and what only the cache knows."""

    def __init__(self) -> None:
        self._files: dict[str, _File] = {}

    def do(self, op: Op) -> None:
        """One call."""
        if op.kind == "U":
            self._files.pop(op.name, None)
        elif op.kind == "R":
            self._files[Path(op.data.decode()).name] = self._files.pop(op.name)
        elif op.kind == "S":
            held = self._files.get(op.name)
            if held is not None:
                for waiting in held.waiting:
                    _apply(held.durable, waiting)
                held.waiting.clear()
        else:
            self._files.setdefault(op.name, _File()).waiting.append(op)

    def after_a_cut(self, folder: Path, chance: random.Random) -> None:
        """Write the files as they may be found when the power is back."""
        kept = chance.choice((0.0, 0.2, 0.5, 0.9, 1.0))
        for name, held in self._files.items():
            data = bytearray(held.durable)
            for waiting in held.waiting:
                for piece in _sectors(waiting):
                    if chance.random() < kept:
                        _apply(data, piece)
            (folder / name).write_bytes(data)


def _sectors(op: Op) -> Iterator[Op]:
    if op.kind == "T":
        yield op
    for start in range(0, len(op.data), SECTOR):
        yield Op("W", op.offset + start, op.name, op.data[start : start + SECTOR])


def _apply(data: bytearray, op: Op) -> None:
    if op.kind == "T":
        del data[op.offset :]
        data.extend(bytes(op.offset - len(data)))
        return
    end = op.offset + len(op.data)
    data.extend(bytes(max(0, end - len(data))))
    data[op.offset : end] = op.data


def cuts(ops: list[Op], count: int, seed: int) -> Iterator[tuple[list[str], Disk, random.Random]]:
    """So many moments after the first acknowledgement: what was acknowledged by then, and the disk."""
    chance = random.Random(seed)
    first = next(place for place, op in enumerate(ops) if op.name == ACKS)
    places = sorted(chance.sample(range(first + 1, len(ops) + 1), count))
    disk, acks = Disk(), b""
    for place, op in enumerate(ops, start=1):
        if op.name == ACKS:
            acks += op.data
        else:
            disk.do(op)
        while places and places[0] == place:
            places.pop(0)
            yield acks.decode().splitlines(), disk, random.Random(seed * 1_000_003 + place)
