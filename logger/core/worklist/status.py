"""How the items of a worklist stand, read from the runs that were made since they were planned."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from logger.core.method import Method
from logger.core.worklist.items import WorkItem, Worklist, in_order
from logger.core.worklist.job import NextStep, RunMade, next_step

ItemState = Literal["planned", "running", "started", "done", "withdrawn"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemStatus:
    """An item with its state. `runs` are the numbers of its runs that count; `step` is what is next."""

    item: WorkItem
    state: ItemState
    runs: tuple[int, ...]
    step: NextStep | None
    text: str


def runs_of(item: WorkItem, runs: Iterable[RunMade]) -> list[RunMade]:
    """The runs of an item: its sample, by its method and on its sieve where it names them."""
    sample = item.sample
    return [
        run
        for run in runs
        if (run.sample_id, run.lot) == (sample.sample_id, sample.lot)
        and (not run.outcome or run.sampled_at == sample.sampled_at)
        and sample.method_id in ("", run.method_id)
        and (not run.outcome or sample.aperture_um in (None, run.aperture_um))
        and run.started_at >= item.planned_utc
    ]


def item_status(item: WorkItem, runs: Sequence[RunMade], methods: Mapping[str, Method]) -> ItemStatus:
    """How one item stands. An aborted run leaves it planned; a method that is not known asks for one run."""
    own = runs_of(item, runs)
    counted = [run for run in own if run.counts]
    method = methods.get(counted[-1].method_id if counted else item.sample.method_id)
    step = None if method is None else next_step(method, own, item.sample.aperture_um)
    numbers = tuple(run.number for run in counted)
    state, text = _standing(item, own, counted, step)
    return ItemStatus(item=item, state=state, runs=numbers, step=step, text=text)


def _standing(
    item: WorkItem, own: Sequence[RunMade], counted: Sequence[RunMade], step: NextStep | None
) -> tuple[ItemState, str]:
    if item.withdrawn:
        return "withdrawn", item.withdrawn
    if own and not own[-1].outcome:
        return "running", f"run {own[-1].number} is under way"
    if counted and step is None:
        return "done", f"run {', '.join(str(run.number) for run in counted)}"
    if counted and step is not None:
        return "started", f"next: {step.text}"
    tried = own[-1] if own else None
    return "planned", "" if tried is None else f"run {tried.number} ended as {tried.outcome}"


def statuses(worklist: Worklist, runs: Sequence[RunMade], methods: Mapping[str, Method]) -> list[ItemStatus]:
    """All items in the order in which they should be done."""
    return [item_status(item, runs, methods) for item in in_order(worklist.items.values())]


OPEN: tuple[ItemState, ...] = ("planned", "running", "started")
