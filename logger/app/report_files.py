"""A document as a file: form and place."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from logger.report.document import Document, Paper
from logger.settings import ConfigError

Form = Literal["html", "pdf"]
FORMS: tuple[Form, ...] = ("html", "pdf")
PAPERS: tuple[Paper, ...] = ("a4", "letter")


def printed(document: Document, form: Form, paper: Paper) -> bytes:
    """The file's content. Raises ConfigError when PDF is asked for and its package is missing."""
    if form == "html":
        from logger.report.html import html_report

        return html_report(document, paper).encode()
    from logger.report.pdf import PdfMissingError, pdf_report

    try:
        return pdf_report(document, paper)
    except PdfMissingError as error:
        raise ConfigError("--format pdf", str(error)) from None


def place(to: Path, stem: str, form: Form) -> Path:
    """`to` itself when it ends as the form does, else STEM.FORM in that folder. Raises ConfigError."""
    if to.suffix.lower() == f".{form}":
        return to
    if to.suffix.lower() in (".html", ".pdf") and not to.is_dir():
        raise ConfigError(
            "--to", f"{to} does not end in .{form}: name a .{form} file or a folder, or another --format"
        )
    return to / f"{stem}.{form}"
