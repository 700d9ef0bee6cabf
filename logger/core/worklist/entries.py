"""From planned samples, as a file or a person gave them, to entries of the register."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from logger.core.refusal import ResultError, require
from logger.core.text import clean_text
from logger.core.worklist.items import USUAL_PRIORITY, PlannedSample, WorkItem, Worklist

MOST_AT_ONCE = 100
"""Samples of one entry; a longer file makes several."""
_LONGEST = {
    "sample_id": 64,
    "lot": 64,
    "point": 64,
    "sampled_at": 40,
    "method_id": 64,
    "sieve_id": 64,
    "due": 16,
}
_DUE = re.compile(r"\d{4}-\d\d-\d\d(?:T\d\d:\d\d)?\Z")


def read_planned(plain: Mapping[str, Any]) -> PlannedSample:
    """One sample from JSON values. Raises `ResultError` or Refused naming the field."""
    unknown = sorted(set(plain) - set(PlannedSample.__dataclass_fields__))
    require(not unknown, f"a planned sample has no {', '.join(map(repr, unknown))}")
    texts = {
        name: clean_text(name.replace("_", " "), plain.get(name, ""), longest)
        for name, longest in _LONGEST.items()
    }
    require(bool(texts["sample_id"]), "the sample id is missing")
    due = texts["due"]
    require(not due or _DUE.match(due) is not None, f"due is written YYYY-MM-DD or with THH:MM, not {due!r}")
    return PlannedSample(**texts, aperture_um=_aperture(plain), priority=_priority(plain))


def _aperture(plain: Mapping[str, Any]) -> float | None:
    value = plain.get("aperture_um")
    if value is None:
        return None
    known = isinstance(value, int | float) and not isinstance(value, bool) and 1 <= value <= 10_000
    require(known, f"aperture_um must be 1 to 10000 µm, not {value!r}")
    return float(value)


def _priority(plain: Mapping[str, Any]) -> int:
    value = plain.get("priority", USUAL_PRIORITY)
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 9:
        raise ResultError(f"priority must be 1 (first) to 9, not {value!r}")
    return value


def samples_planned(entry: Mapping[str, Any], worklist: Worklist) -> dict[str, Any]:
    """Samples for the list. Raises `ResultError` for one that stands on it already."""
    given = entry.get("samples")
    if not isinstance(given, list) or not 0 < len(given) <= MOST_AT_ONCE:
        raise ResultError(f"samples must be a list of 1 to {MOST_AT_ONCE}")
    require(all(isinstance(each, Mapping) for each in given), "each sample must be an object")
    samples = [read_planned(each) for each in given]
    seen = set()
    for sample in samples:
        twin = worklist.twin(sample)
        require(twin is None, f"sample {sample.sample_id} is on the list already{_as_item(twin)}")
        require(sample.same_as not in seen, f"sample {sample.sample_id} is given twice")
        seen.add(sample.same_as)
    source = clean_text("source", entry.get("source", ""), 120)
    return {"source": source, "samples": [sample.plain() for sample in samples]}


def _as_item(item: WorkItem | None) -> str:
    return "" if item is None else f" as item {item.number}"


def find_item(entry: Mapping[str, Any], worklist: Worklist) -> WorkItem:
    """The item that `item` names. Raises `ResultError`."""
    number = entry.get("item")
    if isinstance(number, bool) or not isinstance(number, int) or number not in worklist.items:
        raise ResultError(f"there is no item {number!r} on the worklist (`lastgrain worklist list`)")
    return worklist.items[number]


def sample_withdrawn(entry: Mapping[str, Any], worklist: Worklist, why: str) -> dict[str, Any]:
    """An item is not to be tested. Raises `ResultError` without a reason, or when it is withdrawn already."""
    item = find_item(entry, worklist)
    require(not item.withdrawn, f"item {item.number} is withdrawn already: {item.withdrawn}")
    require(bool(why), "say why the sample is withdrawn; it is kept")
    return {"item": item.number, "sample_id": item.sample.sample_id}


def sample_restored(entry: Mapping[str, Any], worklist: Worklist) -> dict[str, Any]:
    """A withdrawn item stands again. Raises `ResultError` when it was not withdrawn, or has a twin by now."""
    item = find_item(entry, worklist)
    require(bool(item.withdrawn), f"item {item.number} is not withdrawn")
    twin = worklist.twin(item.sample)
    require(twin is None, f"sample {item.sample.sample_id} is on the list already{_as_item(twin)}")
    return {"item": item.number, "sample_id": item.sample.sample_id}
