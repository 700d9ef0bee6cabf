"""The summary of a shift from the store, as lines or as a file."""

from __future__ import annotations

import dataclasses
import re
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from logger.app.new_files import write
from logger.app.paths import DataFolder
from logger.app.report import catalogue, sound_body
from logger.app.report_files import Form, place, printed
from logger.core.record import listed_residue_pct
from logger.report.document import Paper
from logger.report.plain import plain_report
from logger.report.summary_document import Summary, SummaryEntry, SummaryRun, summary_document
from logger.service.register_desk import entered_text
from logger.settings import ConfigError
from logger.store import history
from logger.store.register import head_before, register_events
from logger.store.samples import runs_between

_AGO = re.compile(r"(\d{1,4})\s*([hd])", re.ASCII)
SHIFT_HOURS = 12


def shift_summary(data: DataFolder, since: str, until: str, now: str) -> Summary:
    """What began and was entered in a time. `now` is UTC as in records.

    Raises StoreError (also for an altered record), and ConfigError for a time that is none.
    """
    last = moment("--until", until, now) if until else now
    first = moment("--since", since or f"{SHIFT_HOURS}h", last)
    if first >= last:
        raise ConfigError("--since", f"{first} is not before {last}: give an earlier time")
    with history.reading(data.store) as connection:
        return _summary(connection, first, last)


def summary_lines(found: Summary, language: str) -> str:
    """As plain lines. Raises ConfigError for a language without texts."""
    return plain_report(summary_document(found, catalogue(language)))


def summary_values(found: Summary) -> dict[str, Any]:
    """As JSON values; a run without a record has nulls."""
    return {
        "since": found.since,
        "until": found.until,
        "runs": [_run_values(run) for run in found.runs],
        "entries": [dataclasses.asdict(entry) for entry in found.entries],
        "register_head": found.register_head,
        "unreviewed": [run.number for run in found.waiting],
    }


def _run_values(run: SummaryRun) -> dict[str, Any]:
    body = run.body or {}
    assessed = body.get("assessment") or {}
    return {
        "number": run.number,
        "run_id": body.get("run_id"),
        "started_at": run.started_at,
        "sample_id": run.sample_id,
        "lot": run.lot,
        "method_id": run.method_id,
        "outcome": body.get("outcome"),
        "residue_pct": None if body.get("result") is None else listed_residue_pct(dict(body)),
        "expanded_u_pct": (assessed.get("budget") or {}).get("expanded_u_pct"),
        "decision": (assessed.get("decision") or {}).get("outcome"),
        "review": body.get("review"),
        "deviations": [entry["text"] for entry in body.get("deviations", ())],
        "simulated": body.get("simulated"),
        "record_sha256": body.get("record_sha256"),
    }


def write_summary(found: Summary, to: Path, form: Form, paper: Paper, language: str, replace: bool) -> Path:
    """Writes it into a file or a folder and gives the path. Raises StoreError, `ResultError`, ConfigError."""
    document = summary_document(found, catalogue(language))
    stamp = document.dated[:16].replace(":", "").replace("-", "")
    tongue = "" if document.language == "en" else f"-{document.language}"
    return write(place(to, f"shift-until-{stamp}Z{tongue}", form), printed(document, form, paper), replace)


def moment(option: str, text: str, now: str) -> str:
    """A time as typed (ISO 8601, UTC where no zone is given; or 8h, 2d before `now`) as records write it.

    Raises ConfigError that names the option.
    """
    ago = _AGO.fullmatch(text.strip())
    try:
        if ago is None:
            typed = datetime.fromisoformat(text.strip())
            found = typed if typed.tzinfo is not None else typed.replace(tzinfo=UTC)
        else:
            count = int(ago.group(1))
            found = datetime.fromisoformat(now) - timedelta(hours=count * (1 if ago.group(2) == "h" else 24))
        return found.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    except (ValueError, OverflowError):
        raise ConfigError(
            option, f"{text!r} is no time; give 2026-03-31T06:00Z, 2026-03-31, or 8h or 2d for so long ago"
        ) from None


def _summary(connection: sqlite3.Connection, since: str, until: str) -> Summary:
    runs = []
    for run_id in runs_between(connection, since, until):
        row = history.find_run(connection, run_id)
        runs.append(
            SummaryRun(
                number=row.number,
                started_at=row.started_at,
                sample_id=row.sample_id,
                lot=row.lot,
                method_id=row.method_id,
                body=None if not row.outcome else sound_body(connection, row.number, run_id),
            )
        )
    entries = tuple(
        SummaryEntry(utc=e.utc, by=e.by, text=entered_text(e), passed=e.data.get("passed"))
        for e in register_events(connection)
        if since <= e.utc < until
    )
    return Summary(
        since=since,
        until=until,
        runs=tuple(runs),
        entries=entries,
        register_head=head_before(connection, until),
    )
