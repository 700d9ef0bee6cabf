"""The questions about the history: the list, one run whole, the control chart of a reference powder."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from logger.core.ports import HistoryReader
from logger.core.readings import Reading
from logger.core.reference_series import reference_series, series_chart
from logger.core.run.commands import Refused
from logger.core.run.events import Event, EventKind
from logger.core.run.facts import RunFacts, fold
from logger.core.run.marks import event_mark
from logger.core.run.words import event_level, event_text
from logger.core.run_history import RunHistory
from logger.core.run_list import FILTERS, run_filter
from logger.core.text import printable
from logger.service.queries import Handler, asked_number, asked_text

PAGE_RUNS = 50
MOST_RUNS = 200
MOST_EVENTS = 1000
MOST_READINGS = 6000
"""Of each instrument; a chart shows fewer."""
LARGEST_NUMBER = 2**53
PARTS = ("record", "events", "curves")

Curves = Callable[[RunFacts, Sequence[Event], Iterable[Reading]], Mapping[str, Any] | None]
"""Makes the curves of a run as JSON values; None when suction was never seen on."""


def history_queries(history: HistoryReader, curves: Curves) -> dict[str, Handler]:
    """`runs`: a page of the list. `run`: one run. `control`: reference powders and their control chart."""
    return {
        "runs": lambda args: _runs(history, args),
        "run": lambda args: _run(history, curves, args),
        "control": lambda args: _control(history, args),
    }


def _runs(history: HistoryReader, args: Mapping[str, Any]) -> Any:
    """Arguments: the filters of `RunFilter`, `limit`, and `before`, the cursor of the page before."""
    _require_known(args, (*FILTERS, "limit", "before"))
    limit = asked_number(args, "limit", PAGE_RUNS, 1, MOST_RUNS)
    before = None if args.get("before") is None else asked_number(args, "before", 1, 0, LARGEST_NUMBER)
    page = history.list_runs(run_filter(dict(args)), limit, before)
    return {"runs": [asdict(line) for line in page.runs], "cursor": page.cursor}


def _run(history: HistoryReader, curves: Curves, args: Mapping[str, Any]) -> Any:
    """Arguments: `which` (number, or beginning of the id), `revision` of the record, `parts` (all unless given)."""
    _require_known(args, ("which", "revision", "parts"))
    revision = None if args.get("revision") is None else asked_number(args, "revision", 1, 1, 10_000)
    parts = args.get("parts", list(PARTS))
    if not isinstance(parts, list) or not all(part in PARTS for part in parts):
        raise Refused(f"parts must be a list of some of {', '.join(PARTS)}.")
    found = history.read_run(asked_text(args, "which"))
    facts = fold(found.events)
    answer: dict[str, Any] = {"run": asdict(found.line), "revisions": _revisions(found)}
    if "record" in parts:
        answer["record"] = found.record(revision)
        if revision is not None and answer["record"] is None:
            raise Refused(f"Run {found.line.number} has no revision {revision} of its record.")
    if "events" in parts:
        answer["events"] = _events(found.events, facts.suction_start_ns)
        answer["events_left_out"] = max(0, len(found.events) - MOST_EVENTS)
    if "curves" in parts:
        readings = history.read_readings(found.line.run_id, MOST_READINGS)
        answer["curves"] = curves(facts, found.events, readings)
    return answer


def _revisions(found: RunHistory) -> list[dict[str, Any]]:
    """What the list of revisions shows: when each was issued, and how it stood."""
    issued = {e.data.get("revision"): e.utc for e in found.events if e.kind is EventKind.RECORD_ISSUED}
    return [
        {
            "revision": body.get("revision"),
            "issued_at": issued.get(body.get("revision"), ""),
            "outcome": body.get("outcome"),
            "review": body.get("review"),
            "record_sha256": body.get("record_sha256"),
            "signatures": body.get("signatures", []),
            "corrections": body.get("corrections", []),
            "invalidation": body.get("invalidation"),
        }
        for body in found.records
    ]


def _events(events: Sequence[Event], zero_ns: int | None) -> list[dict[str, Any]]:
    """The newest, oldest of them first. `elapsed_s` since suction was first seen on, null before."""
    return [
        {
            "utc": event.utc,
            "kind": event.kind.value,
            "level": event_level(event),
            "text": _sentence(event),
            "mark": event_mark(event),
            "elapsed_s": None if zero_ns is None or event.at_ns < zero_ns else (event.at_ns - zero_ns) / 1e9,
        }
        for event in events[-MOST_EVENTS:]
    ]


def _sentence(event: Event) -> str:
    """Its kind where a version of long ago kept other data: one odd event hides no run."""
    try:
        return event_text(event.kind, event.data)
    except (KeyError, ValueError, TypeError, IndexError):
        return event.kind.value.replace("_", " ")


def _control(history: HistoryReader, args: Mapping[str, Any]) -> Any:
    """Arguments: `sieve_id` and `certificate` of one series; the one checked last unless given."""
    _require_known(args, ("sieve_id", "certificate"))
    series = reference_series(history.reference_checks())
    asked = (asked_text(args, "sieve_id"), asked_text(args, "certificate", 400))
    chosen = next((one for one in series if asked in (("", ""), (one.sieve_id, one.certificate))), None)
    if series and chosen is None:
        raise Refused(f"Sieve {asked[0]} was never checked with the reference powder {asked[1]}.")
    return {
        "series": [
            {"sieve_id": one.sieve_id, "certificate": one.certificate, "checks": len(one.checks)}
            for one in series
        ],
        "chart": None if chosen is None else series_chart(chosen),
    }


def _require_known(args: Mapping[str, Any], known: Sequence[str]) -> None:
    unknown = next((name for name in args if name not in known), None)
    if unknown is not None:
        raise Refused(
            f"This question takes no {printable(repr(unknown[:40]))}; it takes: {', '.join(known)}."
        )
