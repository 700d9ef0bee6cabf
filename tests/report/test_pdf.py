"""PDF: the same document on paper, the same bytes for the same record, read back by a library of others (pypdf)."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pypdf
import pytest

from logger.core.run.events import EventKind as E
from logger.report.document import Document, Figure, Paper, Table, unbroken
from logger.report.glyphs import covered, covered_characters, with_code_points
from logger.report.pdf import PdfMissingError, pdf_report
from logger.report.run_document import run_document
from logger.report.texts import languages, texts
from tests.core.run.made_runs import PLANNED
from tests.hostile import KEPT, REFUSED, composed
from tests.report.sheets import live_sheet, sheet, with_texts
from tests.report.test_html import KINDS
from tests.report.test_run_document import words

ROOT = Path(__file__).resolve().parents[2]
DIGEST = (
    "import hashlib; from tests.report.sheets import live_sheet; from logger.report.pdf import pdf_report; "
    "from logger.report.html import html_report; from logger.report.run_document import run_document; "
    "from logger.report.texts import texts; d = run_document(live_sheet(), texts('de')); "
    "print(hashlib.sha256(pdf_report(d, 'a4') + html_report(d, 'a4').encode()).hexdigest())"
)


def pages(document: Document, paper: Paper = "a4") -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf_report(document, paper)), strict=True)


def squeezed(text: str) -> str:
    """Without white space, which a page breaks where it likes."""
    return re.sub(r"[\s\u200b]+", "", text)


def read(found: pypdf.PdfReader) -> str:
    return squeezed("".join(page.extract_text() for page in found.pages))


def missing(document: Document) -> list[str]:
    """Texts of the document that the PDF does not show."""
    page = read(pages(document))
    blocks = [block for section in document.sections for block in section.blocks]
    unseen = {block.alternative for block in blocks if isinstance(block, Figure)}
    unseen |= {block.caption for block in blocks if isinstance(block, Table)}
    unseen |= {document.missing_letter_text, document.dated}
    texts_shown = [text for text in words(document) if text not in unseen]
    return [text for text in texts_shown if squeezed(with_code_points(unbroken(text))) not in page]


def test_every_text_of_the_record_is_on_paper() -> None:
    assert missing(run_document(sheet(sieve=PLANNED, simulated=True), texts("de"))) == []


def test_it_is_pdf_a_with_tags_title_language_and_the_date_of_the_run() -> None:
    found = pages(run_document(live_sheet(), texts("de")))
    info = found.metadata
    assert info is not None
    assert info.title == "Luftstrahlsiebung: Prüfbericht · Probe S-1, Lauf 12"
    assert str(info.creation_date)[:19] == "2026-02-01 06:00:00"
    root: Any = found.trailer["/Root"]
    assert root["/Lang"] == "de"
    assert root["/MarkInfo"]["/Marked"].value is True
    xmp = root["/Metadata"].get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part>" in xmp
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in xmp
    assert "<pdfuaid:part>1</pdfuaid:part>" in xmp


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_the_paper_is_as_asked_and_two_pages_are_enough(paper: Paper, size: tuple[int, int]) -> None:
    found = pages(run_document(live_sheet(), texts("en")), paper)
    box = found.pages[0].mediabox
    assert (round(box.width), round(box.height)) == size
    assert len(found.pages) <= 2


def test_the_same_record_gives_the_same_bytes() -> None:
    first, second = (pdf_report(run_document(live_sheet(), texts("en")), "a4") for _ in range(2))
    assert first == second


@pytest.mark.full
def test_another_process_zone_and_locale_give_the_same_bytes() -> None:
    digests = set()
    for zone, locale, seed in (
        ("UTC", "C", "1"),
        ("Asia/Kathmandu", "C.UTF-8", "2"),
        ("America/St_Johns", "C", "3"),
    ):
        environment = os.environ | {"TZ": zone, "LC_ALL": locale, "PYTHONHASHSEED": seed}
        done = subprocess.run(
            [sys.executable, "-c", DIGEST],
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        )
        digests.add(done.stdout)
    assert len(digests) == 1


def test_markup_and_letters_without_a_shape_are_shown_not_obeyed() -> None:
    text = "#panic() $x$ *b* _i_ @ref <tag> // 試 " + KEPT["format"]
    document = run_document(with_texts(sheet(), text), texts("en"))
    assert missing(document) == []
    page = read(pages(document))
    assert "[U+8A66]" in page
    assert squeezed(document.missing_letter_text) in page


def test_without_typst_a_sentence_says_what_to_do() -> None:
    with patch.dict(sys.modules, {"typst": None}), pytest.raises(PdfMissingError, match=r"lastgrain\[pdf\]"):
        pdf_report(run_document(sheet(ended=None), texts("en")), "a4")


@pytest.mark.full
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_of_report_is_whole_on_paper(kind: str) -> None:
    for language in languages():
        assert missing(run_document(KINDS[kind], texts(language))) == []


@pytest.mark.full
def test_every_hostile_text_comes_through() -> None:
    kept = [composed(text) for text in KEPT.values()]
    for start in range(0, len(kept), 6):
        some = kept[start : start + 6]
        page = read(pages(run_document(with_texts(sheet(ended=None), " | ".join(some)), texts("en"))))
        assert [text for text in some if squeezed(with_code_points(text)) not in page] == []
    hidden = " | ".join(text[:200] for name, text in REFUSED.items() if name != "lone surrogate")
    pdf_report(run_document(with_texts(sheet(ended=E.STOPPED), hidden), texts("en")), "a4")


@pytest.mark.full
def test_the_fonts_have_every_letter_that_is_counted_on() -> None:
    chars = [char for char in covered_characters() if not char.isspace()]
    for start in range(0, len(chars), 200):
        text = " ".join(chars[start : start + 200])
        pdf_report(run_document(with_texts(sheet(ended=None), text), texts("en")), "a4")
    assert not covered("試")
