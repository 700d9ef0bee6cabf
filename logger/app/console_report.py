"""The report as the console asks for it: a file in the data folder, and a sentence that says where."""

from __future__ import annotations

from collections.abc import Callable

from logger.app.paths import DataFolder
from logger.core.refusal import ResultError
from logger.service.client import Reply
from logger.settings.errors import ConfigError
from logger.store.errors import StoreError

FOLDER = "reports"


def report_writer(data: DataFolder) -> Callable[[int], Reply]:
    """Writes the report of a run by its number: PDF, or HTML where PDF's package is missing.

    It blocks for as long as a page takes. A report is made of the record alone, so one that is there is replaced
    by the same bytes, and another revision has another name.
    """

    def write(number: int) -> Reply:
        from logger.app.report import write_report

        for form in ("pdf", "html"):
            try:
                path = write_report(
                    data,
                    str(number),
                    to=data.root / FOLDER,
                    form="pdf" if form == "pdf" else "html",
                    replace=True,
                )
            except ConfigError as error:
                if form == "html":
                    return Reply(False, error.sentence())
            except (StoreError, ResultError) as error:
                return Reply(False, str(error))
            else:
                return Reply(True, f"The report is in {path}: open it there to print it.")
        return Reply(False, "No report was written.")

    return write
