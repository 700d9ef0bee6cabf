"""One run as files. Names come from the run's number and id, never from texts that people typed."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from logger.app.new_files import write_all
from logger.app.paths import DataFolder
from logger.app.progress import tracked
from logger.app.schemas import schema_of
from logger.core.readings import Channel, Quality, Reading
from logger.core.run.events import Event
from logger.core.run.facts import RunFacts, fold
from logger.core.run.plan import canonical_json
from logger.core.run_list import RunLine
from logger.report.csv_export import ENCODING, Column, records_csv, to_csv
from logger.store import history
from logger.store.bundle import chained_files, with_manifest, zipped
from logger.store.errors import StoreError
from logger.store.samples import newest_records

README = """One run of air-jet sieving, whole: `lastgrain runs verify --bundle FILE` checks it anywhere.

manifest.json       SHA-256 of every file; the run's head (BATCH:SHA256)
record-N.json       revision N of the record, canonical JSON; record.schema.json describes it
journal.jsonl       one line a batch: time, events, the hash before it and its own
readings.tsv        readings as they were hashed, batch after batch: channel, time in ns, quality, stable,
                    one digit of the display, value (g or Pa), line as received
readings.csv, trace.csv  the same for a spreadsheet and for `lastgrain replay`; not chained

Hash of a batch: SHA-256 of these texts joined by line feeds: the hash before it, its number, the run's id,
at_ns, utc, SHA-256 of its readings, its events. It proves that the run agrees with a head that someone else
holds, not who wrote it.
"""


def export_run(data: DataFolder, which: str, to: Path, replace: bool = False) -> list[Path]:
    """Writes record, events, readings and trace; gives their paths.

    Raises StoreError, and `ResultError` for a file that is there and holds something else, unless `replace`.
    """
    with history.reading(data.store) as connection:
        row = history.find_run(connection, which)
        body = history.record_body(connection, row.run_id)
        events = history.run_events(connection, row.run_id)
        readings = history.run_readings(connection, row.run_id)
    if body is None:
        raise StoreError(f"Run {row.number} has no record yet; it is still open.")
    stem = _stem(row)
    files: dict[str, str | bytes] = {
        f"{stem}-record.json": json.dumps(body, indent=2, ensure_ascii=False) + "\n",
        f"{stem}-events.jsonl": "".join(f"{_event_line(event)}\n" for event in events),
        f"{stem}-readings.csv": _readings_csv(readings),
        f"{stem}-trace.csv": trace_csv(row.run_id, fold(events), readings),
    }
    return write_all({to / name: _bytes(text) for name, text in files.items()}, replace)


def export_bundle(data: DataFolder, which: str, to: Path, replace: bool = False) -> list[Path]:
    """Writes one zip file with everything about the run, made to be checked anywhere. Raises as `export_run`."""
    with history.reading(data.store) as connection:
        row = history.find_run(connection, which)
        files = chained_files(connection, row)
        events = history.run_events(connection, row.run_id)
        readings = history.run_readings(connection, row.run_id)
    texts: dict[str, str | bytes] = {
        "readings.csv": _readings_csv(readings),
        "trace.csv": trace_csv(row.run_id, fold(events), readings),
        "record.schema.json": _schema("record"),
        "event.schema.json": _schema("event"),
        "README.txt": README,
    }
    whole = with_manifest(
        row.number, row.run_id, files | {name: _bytes(text) for name, text in texts.items()}
    )
    return write_all({to / f"{_stem(row)}.zip": zipped(whole)}, replace)


def export_records(data: DataFolder, which: str | None, to: Path, replace: bool = False) -> list[Path]:
    """Writes a table with a line a run, all runs or one, for a spreadsheet. Raises as `export_run`."""
    with history.reading(data.store) as connection:
        if which is None:
            name, bodies = "records.csv", _bodies(newest_records(connection))
        else:
            row = history.find_run(connection, which)
            body = history.record_body(connection, row.run_id)
            if body is None:
                raise StoreError(f"Run {row.number} has no record yet; it is still open.")
            name, bodies = f"{_stem(row)}-record.csv", [body]
    try:
        table = records_csv(bodies)
    except ValueError as error:
        raise StoreError(f"A record holds what is no figure ({error}): `lastgrain runs verify`.") from error
    return write_all({to / name: table.encode(ENCODING)}, replace)


def _bodies(texts: Sequence[str]) -> list[dict[str, Any]]:
    return [json.loads(text) for text in tracked(texts, "Reading records", len(texts))]


def _stem(row: RunLine) -> str:
    return f"run-{row.number:06d}-{row.run_id[-8:]}"


def _schema(kind: str) -> str:
    return json.dumps(schema_of(kind), indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def _bytes(content: str | bytes) -> bytes:
    return content.encode() if isinstance(content, str) else content


def _event_line(event: Event) -> str:
    return canonical_json(
        {"kind": event.kind.value, "at_ns": event.at_ns, "utc": event.utc, "data": event.data}
    )


_READING_COLUMNS = (
    Column("channel"),
    Column("at_ns", "number"),
    Column("value", "number"),
    Column("quality"),
    Column("stable", "number"),
    Column("raw"),
)


def _readings_csv(readings: Sequence[Reading]) -> bytes:
    rows = [(r.channel.value, r.at_ns, r.value, r.quality.value, r.stable, r.raw) for r in readings]
    return to_csv(_READING_COLUMNS, rows).encode(ENCODING)


def trace_csv(run_id: str, facts: RunFacts, readings: Sequence[Reading]) -> str:
    """The run as a trace for `lastgrain replay`: samples in live mode, weighings in interval mode."""
    head = f"# schema = lastgrain/trace/1\n# run_id = {run_id}\n"
    if facts.charge_g is not None:
        head += f"# charge_g = {facts.charge_g}\n"
    mode = facts.plan["method"]["weighing"]["mode"]
    rows = _live_rows(facts, readings) if mode == "live" else _interval_rows(facts)
    return head + _csv(("t_s", "mass_g", "dp_pa", "stable"), rows)


def _interval_rows(facts: RunFacts) -> list[tuple[Any, ...]]:
    return [(w.effective_s, w.load_g, None, 1) for w in facts.weighings]


def _live_rows(facts: RunFacts, readings: Sequence[Reading]) -> list[tuple[Any, ...]]:
    start_ns, tare_g = facts.suction_start_ns, facts.tare_g or 0.0
    if start_ns is None or not facts.weighings:
        return []
    from_ns = facts.weighings[0].at_ns
    rows: list[tuple[Any, ...]] = []
    dp_pa: float | None = None
    for reading in readings:
        value = reading.value if reading.quality is Quality.OK else None
        if reading.channel is Channel.PRESSURE:
            dp_pa = value
        elif reading.at_ns >= from_ns:
            load_g = None if value is None else round(value - tare_g, 6)
            t_s = round((reading.at_ns - start_ns) / 1e9, 4)
            rows.append((t_s, load_g, dp_pa, 0 if reading.stable is False else 1))
    return rows


def _csv(header: Sequence[str], rows: Sequence[Sequence[Any]]) -> str:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(["" if cell is None else cell for cell in row] for row in rows)
    return stream.getvalue()
