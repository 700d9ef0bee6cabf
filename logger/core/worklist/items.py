"""Planned samples as the register holds them. Whether one is started or done is read from its runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from logger.core.register.events import RegisterEvent, RegisterKind

USUAL_PRIORITY = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSample:
    """A sample to be tested. Only `sample_id` is needed; `due` is YYYY-MM-DD or YYYY-MM-DDTHH:MM.

    Priority 1 comes first, 9 last. `aperture_um` is asked for where the method has several sieves.
    """

    sample_id: str
    lot: str = ""
    point: str = ""
    sampled_at: str = ""
    method_id: str = ""
    sieve_id: str = ""
    aperture_um: float | None = None
    due: str = ""
    priority: int = USUAL_PRIORITY

    @property
    def same_as(self) -> tuple[str, str, str, str, float | None]:
        """Two samples that agree in this are one and the same."""
        return (self.sample_id, self.lot, self.method_id, self.sampled_at, self.aperture_um)

    def plain(self) -> dict[str, Any]:
        """As JSON values."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkItem:
    """A planned sample on the list, under its number. `withdrawn` is the reason, empty while it stands."""

    number: int
    sample: PlannedSample
    planned_utc: str
    planned_by: str
    source: str
    withdrawn: str = ""
    withdrawn_utc: str = ""
    withdrawn_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Worklist:
    """Every item ever planned, by its number."""

    items: Mapping[int, WorkItem] = field(default_factory=dict)

    @property
    def next_number(self) -> int:
        """The number of the next item; a number is never used twice."""
        return max(self.items, default=0) + 1

    def standing(self) -> list[WorkItem]:
        """Items that are not withdrawn, in the order in which they should be done."""
        return in_order(item for item in self.items.values() if not item.withdrawn)

    def twin(self, sample: PlannedSample) -> WorkItem | None:
        """The standing item for the same sample, if there is one."""
        return next((each for each in self.standing() if each.sample.same_as == sample.same_as), None)


def in_order(items: Iterable[WorkItem]) -> list[WorkItem]:
    """By priority, then what is due first (what has no date comes last), then as planned."""
    return sorted(items, key=lambda item: (item.sample.priority, item.sample.due or "9999", item.number))


def _planned(worklist: Worklist, event: RegisterEvent) -> Worklist:
    items = dict(worklist.items)
    for number, plain in enumerate(event.data["samples"], start=worklist.next_number):
        items[number] = WorkItem(
            number=number,
            sample=PlannedSample(**plain),
            planned_utc=event.utc,
            planned_by=event.by,
            source=event.data["source"],
        )
    return replace(worklist, items=items)


def _withdrawn(worklist: Worklist, event: RegisterEvent) -> Worklist:
    return _changed(worklist, event, why=event.why, utc=event.utc, by=event.by)


def _restored(worklist: Worklist, event: RegisterEvent) -> Worklist:
    return _changed(worklist, event, why="", utc="", by="")


def _changed(worklist: Worklist, event: RegisterEvent, *, why: str, utc: str, by: str) -> Worklist:
    item = worklist.items[event.data["item"]]
    changed = replace(item, withdrawn=why, withdrawn_utc=utc, withdrawn_by=by)
    return replace(worklist, items={**worklist.items, item.number: changed})


WORKLIST_STEPS: dict[RegisterKind, Callable[[Worklist, RegisterEvent], Worklist]] = {
    RegisterKind.SAMPLES_PLANNED: _planned,
    RegisterKind.SAMPLE_WITHDRAWN: _withdrawn,
    RegisterKind.SAMPLE_RESTORED: _restored,
}
