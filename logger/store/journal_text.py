"""Events of a batch as text: canonical, hashed as it stands, without a line feed."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any

from logger.core.run.events import Event, EventKind
from logger.core.run.plan import canonical_json


def writable(event: Event) -> Event:
    """The event as JSON can hold it: nan and infinity become null, odd characters escapes. Never an exception."""
    try:
        canonical_json(event.data).encode()
    except (ValueError, TypeError):
        return Event(event.kind, event.at_ns, event.utc, _writable(event.data))
    return event


def events_text(events: Iterable[Event]) -> str:
    """The canonical text of writable events."""
    return canonical_json([plain_event(event) for event in events])


def plain_event(event: Event) -> dict[str, Any]:
    """As JSON values."""
    return {"kind": event.kind.value, "at_ns": event.at_ns, "utc": event.utc, "data": event.data}


def events_of(text: str) -> list[Event]:
    """The events of a batch. Raises ValueError, KeyError or TypeError for a text that is none of ours."""
    return [Event(EventKind(e["kind"]), e["at_ns"], e["utc"], e["data"]) for e in json.loads(text)]


def run_columns(plan: dict[str, Any]) -> tuple[str, str, str, str, int]:
    """What the history lists of a plan: sample, operator, lot, method and its revision."""
    sample, method = plan["sample"], plan["method"]["method"]
    texts = (sample["sample_id"], sample["operator_id"], sample["lot"], method["id"])
    return (*texts, method["revision"])


def _writable(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode()
    if isinstance(value, dict):
        return {_writable(str(key)): _writable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_writable(item) for item in value]
    return value if value is None or isinstance(value, int | float) else _writable(str(value))
