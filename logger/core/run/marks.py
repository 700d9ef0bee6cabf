"""Which events are marked on a chart of the run, each by one letter."""

from __future__ import annotations

from logger.core.run.events import Event
from logger.core.run.events import EventKind as E
from logger.core.snapshot import Mark

_KINDS: dict[E, Mark] = {
    E.LOAD_WEIGHED: "weighed",
    E.HELD: "held",
    E.RESUMED: "resumed",
    E.STOPPED: "stopped",
    E.ENDPOINT_REACHED: "endpoint",
    E.TIME_LIMIT_REACHED: "time-limit",
    E.BAND_LEFT: "out-of-band",
}
_NOTES: dict[str, Mark] = {
    "lid-tapped": "tapped",
    "sieve-brushed": "brushed",
    "lumps-crushed": "lumps",
}


def event_mark(event: Event) -> Mark:
    """The mark of this event, "" for one that a chart does not show."""
    if event.kind is E.NOTED:
        return _NOTES.get(str(event.data.get("note", "")), "noted")
    if event.kind is E.DEVIATION:
        return "knocked" if event.data.get("key") == "load-step" else ""
    return _KINDS.get(event.kind, "")
