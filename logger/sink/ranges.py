"""Which numbers of a count without gaps are missing. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field

Range = tuple[int, int]
"""First and last missing seq."""


@dataclass(slots=True)
class Count:
    """What has come of one bench: everything up to `last_seq` except `missing` (in order, never touching)."""

    last_seq: int = 0
    missing: list[Range] = field(default_factory=list)

    def has(self, seq: int) -> bool:
        """It came before."""
        return 1 <= seq <= self.last_seq and not any(first <= seq <= last for first, last in self.missing)

    def add(self, seq: int) -> bool:
        """It came now (and not before); True when it came after a later one."""
        if seq > self.last_seq:
            if seq > self.last_seq + 1:
                self.missing.append((self.last_seq + 1, seq - 1))
            self.last_seq = seq
            return False
        self.missing = [part for whole in self.missing for part in _without(whole, seq)]
        return True


def _without(whole: Range, seq: int) -> list[Range]:
    first, last = whole
    if not first <= seq <= last:
        return [whole]
    return [part for part in ((first, seq - 1), (seq + 1, last)) if part[0] <= part[1]]


def how_many(missing: list[Range]) -> int:
    """Numbers in all ranges."""
    return sum(last - first + 1 for first, last in missing)
