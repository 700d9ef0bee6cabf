"""A document as a file: form, place, and never over another file unasked."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Literal

from logger.core.refusal import ResultError
from logger.report.document import Document, Paper
from logger.settings import ConfigError
from logger.store.errors import StoreError

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


def write(path: Path, content: bytes, replace: bool = False) -> Path:
    """Writes the file whole or not at all. A file with the same bytes is left; another one only on request.

    Raises `ResultError` for a file that is there already, StoreError where nothing can be written.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        if path.exists() and not replace:
            if path.is_file() and path.read_bytes() == content:
                return path
            raise ResultError(
                f"{path} is there already and holds something else: name another with --to, or give --replace"
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        # Made anew: a link that lies there under this name is not followed.
        part.unlink(missing_ok=True)
        with part.open("xb") as stream:
            stream.write(content)
        part.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise StoreError(f"{path} cannot be written: {error.strerror}.") from error
    return path
