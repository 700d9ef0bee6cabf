"""The report of a distribution from the store."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from logger.app.distribution import work_out
from logger.app.new_files import write
from logger.app.paths import DataFolder
from logger.app.report import catalogue, sound_body
from logger.app.report_files import Form, place, printed
from logger.core.distribution.fits import Way
from logger.core.distribution.interpolation import Axes
from logger.core.refusal import ResultError
from logger.report.distribution_document import DistributionSheet, distribution_document
from logger.report.document import Paper
from logger.store.history import reading


def write_distribution_report(
    data: DataFolder,
    which: Sequence[str],
    *,
    loss_limit_pct: float,
    way: Way,
    axes: Axes,
    to: Path,
    form: Form = "html",
    paper: Paper = "a4",
    language: str = "en",
    replace: bool = False,
) -> Path:
    """Writes the report into a file or a folder and gives its path. Raises as `write_report` does."""
    words = catalogue(language)
    found = work_out(data, which, loss_limit_pct, way, axes)
    runs = [run for run, _ in found.runs]
    with reading(data.store) as connection:
        bodies = tuple(sound_body(connection, run.number, run.run_id) for run in runs)
    sheet = DistributionSheet(
        numbers=tuple(run.number for run in runs),
        bodies=bodies,
        summary=found.summary,
        notes=found.notes,
        axes=axes,
    )
    try:
        document = distribution_document(sheet, words)
    except ValueError as error:
        raise ResultError(str(error)) from error
    first = "-".join(str(number) for number in sorted(sheet.numbers)[:8])
    tongue = "" if language == "en" else f"-{language}"
    stem = f"distribution-{first}-{document.code.lower()}{tongue}"
    return write(place(to, stem, form), printed(document, form, paper), replace)
