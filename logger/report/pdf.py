"""A document as PDF/A-2a with tags (PDF/UA-1), by typst. The same document gives the same bytes anywhere.

Only the fonts inside typst are used, the file's date is the document's, and all texts reach the template as
data, so that nothing in them is read as markup.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from functools import cache
from typing import Any

from logger.report.document import Document, Paper, unbroken
from logger.report.glyphs import with_code_points
from logger.report.html import TEMPLATES, side_by_side

NO_TYPST = (
    "PDF needs the package typst, which is not installed: `pip install 'lastgrain[pdf]'`, or ask for "
    "--format html."
)


class PdfMissingError(Exception):
    """The part that makes PDF is not installed; the sentence says what to do."""


def pdf_report(document: Document, paper: Paper) -> bytes:
    """The file. Raises PdfMissingError without typst."""
    try:
        import typst
    except ImportError:
        raise PdfMissingError(NO_TYPST) from None
    data = json.dumps(document_data(document, paper), ensure_ascii=False, sort_keys=True)
    return typst.compile(
        _template(),
        format="pdf",
        sys_inputs={"data": data},
        pdf_standards=["a-2a", "ua-1"],
        ignore_system_fonts=True,
    )


def document_data(document: Document, paper: Paper) -> dict[str, Any]:
    """The document as JSON values for the template, every text in letters that its fonts have."""
    seen: list[bool] = []

    def shown(text: str) -> str:
        safe = with_code_points(text)
        seen.append(safe != text)
        return unbroken(safe)

    rows = [[_plain(section, shown) for section in row] for row in side_by_side(document.sections)]
    banners = [_plain(banner, shown) for banner in document.banners]
    moment = datetime.fromisoformat(document.dated)
    moment = moment.astimezone(UTC) if moment.tzinfo is not None else moment
    data: dict[str, Any] = {
        "paper": {"a4": "a4", "letter": "us-letter"}[paper],
        "language": document.language,
        "author": document.author,
        "title": shown(document.title),
        "subtitle": shown(document.subtitle),
        "code": document.code,
        "code_label": shown(document.code_label),
        "foot": shown(document.foot),
        "page": shown(document.page_text).split("{page}")[0],
        "of": shown(document.page_text).split("{page}")[1].split("{pages}")[0],
        "date": [moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second],
        "banners": banners,
        "rows": rows,
    }
    return data | {"note": document.missing_letter_text if any(seen) else ""}


def _plain(value: Any, shown: Callable[[str], str], name: str = "") -> Any:
    """Dataclasses as tables with their kind; a drawing stays as it is."""
    if is_dataclass(value) and not isinstance(value, type):
        parts = {f.name: _plain(getattr(value, f.name), shown, f.name) for f in fields(value)}
        return parts | {"kind": type(value).__name__}
    if isinstance(value, tuple):
        return [_plain(item, shown) for item in value]
    return shown(value) if isinstance(value, str) and name != "svg" else value


@cache
def _template() -> bytes:
    return (TEMPLATES / "report.typ").read_bytes()
