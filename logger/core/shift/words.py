"""Entries of the start of a shift and of the worklist as sentences."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from logger.core.register.events import RegisterEvent, RegisterKind

PART_WORDS = {"bag": "extractor bag", "filter": "extractor filter"}
KIND_WORDS = {
    "part_changed": "new bag or filter",
    "air_measured": "temperature and humidity",
    "pressure_zeroed": "pressure zero",
    "restore_drilled": "restore drill",
}


def shift_text(event: RegisterEvent) -> str:
    """One sentence about the entry; empty for an entry of another kind."""
    make = _TEXTS.get(event.kind)
    return "" if make is None else make(event.data, event.why)


def _zero(data: Mapping[str, Any], why: str) -> str:
    return f"{'Passed' if data['passed'] else 'FAILED'}: {data['text']}."


def _planned(data: Mapping[str, Any], why: str) -> str:
    count = len(data["samples"])
    return f"{count} sample{'' if count == 1 else 's'} planned."


_TEXTS: dict[RegisterKind, Callable[[Mapping[str, Any], str], str]] = {
    RegisterKind.PART_CHANGED: lambda data, why: f"New {PART_WORDS[data['part']]} noted.",
    RegisterKind.AIR_MEASURED: lambda data, why: f"{data['text']}.",
    RegisterKind.PRESSURE_ZEROED: _zero,
    RegisterKind.RESTORE_DRILLED: lambda data, why: f"Restore drill noted: {data['note']}.",
    RegisterKind.ENTRY_WITHDRAWN: lambda data, why: (
        f"The entry {KIND_WORDS[data['kind']]} of {data['entered_utc'][:16]} is withdrawn: {why}."
    ),
    RegisterKind.SAMPLES_PLANNED: _planned,
    RegisterKind.SAMPLE_WITHDRAWN: lambda data, why: (
        f"Item {data['item']}, sample {data['sample_id']}, is withdrawn: {why}."
    ),
    RegisterKind.SAMPLE_RESTORED: lambda data, why: (
        f"Item {data['item']}, sample {data['sample_id']}, is on the list again."
    ),
}
