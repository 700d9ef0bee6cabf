"""The report of one run from the store: what is kept is read, laid out and written."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from logger.app.kept_runs import kept_run
from logger.app.new_files import write
from logger.app.paths import DataFolder
from logger.app.report_files import Form, place, printed
from logger.core.joining import Joined, join
from logger.core.record_code import record_code
from logger.core.run.facts import fold
from logger.core.run_list import RunLine
from logger.report.document import Document, Paper
from logger.report.run_curves import run_curves
from logger.report.run_document import run_document
from logger.report.run_sheet import RunSheet, hash_agrees
from logger.report.texts import Texts, UnknownLanguageError, texts
from logger.settings import ConfigError
from logger.store import history
from logger.store.errors import StoreError
from logger.store.samples import runs_of_sample

MOST_DETERMINATIONS = 24
"""A sample and lot with more runs is a series (a control sample), not determinations of one result."""


def write_report(
    data: DataFolder,
    which: str,
    *,
    to: Path,
    form: Form = "html",
    paper: Paper = "a4",
    language: str = "en",
    replace: bool = False,
) -> Path:
    """Writes the report of a run into a file or a folder and gives its path.

    Raises StoreError (no such run, no record yet, an altered record, a place that cannot be written),
    `ResultError` (another file is there), ConfigError (language, or PDF without its package).
    """
    words = catalogue(language)
    with history.reading(data.store) as connection:
        sheet = run_sheet(connection, which)
    document = run_document(sheet, words)
    return write(place(to, report_stem(sheet, language), form), printed(document, form, paper), replace)


def report_document(data: DataFolder, which: str, language: str = "en") -> Document:
    """The report's content, for a screen or another printer. Raises as `write_report` does."""
    with history.reading(data.store) as connection:
        sheet = run_sheet(connection, which)
    return run_document(sheet, catalogue(language))


def catalogue(language: str) -> Texts:
    """The texts of a language. Raises ConfigError with the list of those that there are."""
    try:
        return texts(language)
    except UnknownLanguageError as error:
        raise ConfigError("--lang", str(error)) from None


def report_stem(sheet: RunSheet, language: str) -> str:
    """A name from the run's number, id, revision and language, never from what people typed."""
    tongue = "" if language == "en" else f"-{language}"
    return f"run-{sheet.number:06d}-{sheet.body['run_id'][-8:]}-r{sheet.body['revision']}-report{tongue}"


def sound_body(connection: sqlite3.Connection, number: int, run_id: str) -> dict[str, Any]:
    """The newest record of a run, its hash checked. Raises StoreError."""
    body = history.record_body(connection, run_id)
    if body is None:
        raise StoreError(f"Run {number} has no record yet; it is still open.")
    if not hash_agrees(body):
        raise StoreError(
            f"The record of run {number} was altered: its hash is not that of its content. Nothing is "
            "printed; `lastgrain runs verify` names the place, look for the run in a backup."
        )
    return body


def run_sheet(connection: sqlite3.Connection, which: str) -> RunSheet:
    """Everything that the report of a run needs. Raises StoreError."""
    row = history.find_run(connection, which)
    body = sound_body(connection, row.number, row.run_id)
    events = history.run_events(connection, row.run_id)
    facts = fold(events)
    joined = _joined(connection, row)
    return RunSheet(
        number=row.number,
        body=body,
        events=tuple(events),
        curves=run_curves(facts, events, history.run_readings(connection, row.run_id)),
        joined=joined,
        codes=None if joined is None else _codes(connection, joined),
    )


def _joined(connection: sqlite3.Connection, row: RunLine) -> Joined | None:
    """The group of determinations that the run belongs to; None where it stands alone by its method."""
    ids = runs_of_sample(connection, row.sample_id, row.lot)
    if len(ids) > MOST_DETERMINATIONS:
        return None
    runs = [kept_run(connection, run_id) for run_id in ids]
    for group in join(runs):
        numbers = {run.number for run in group.runs} | {run.number for run in group.left_out}
        if row.number in numbers:
            this = next(run for run in runs if run.number == row.number)
            alone = len(group.runs) < 2 and this.method.determinations.count < 2
            return None if alone else group
    return None


def _codes(connection: sqlite3.Connection, joined: Joined) -> Mapping[str, str]:
    codes = {}
    for run in joined.runs:
        body = history.record_body(connection, run.run_id)
        if body is not None:
            codes[run.run_id] = record_code(body["record_sha256"])
    return codes
