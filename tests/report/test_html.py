"""HTML: one file that needs nothing else, valid by parsers that nobody here wrote, safe with any text."""

from __future__ import annotations

import re
import subprocess
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path

import html5lib
import pytest

from logger.core.run.events import EventKind as E
from logger.report.html import html_report
from logger.report.run_document import run_document
from logger.report.run_sheet import RunSheet
from logger.report.texts import languages, texts
from tests.core.run.made_runs import PLANNED
from tests.hostile import KEPT, REFUSED, composed
from tests.node.packages import script
from tests.real import require_binary
from tests.report.sheets import live_sheet, sheet, with_texts
from tests.report.test_run_document import CORRECTION, SIGNATURE, words

NAMES = "{http://www.w3.org/1999/xhtml}"


def printed(found: RunSheet, language: str = "en") -> str:
    return html_report(run_document(found, texts(language)), "a4")


def every_kind() -> Iterator[tuple[str, RunSheet]]:
    """One of each that looks different."""
    yield "endpoint", sheet(sieve=PLANNED, simulated=True)
    yield "live", live_sheet()
    yield "stopped", live_sheet(E.STOPPED)
    yield "aborted", sheet(ended=None)
    yield "signed", sheet(revision=2, review="accepted", signatures=[SIGNATURE], corrections=[CORRECTION])
    yield "hostile", with_texts(sheet(), composed(" ".join(KEPT.values())))


KINDS = dict(every_kind())


def parsed(text: str) -> ET.Element:
    """The page by html5lib, which raises for every fault that the standard calls a parse error."""
    parser = html5lib.HTMLParser(tree=html5lib.getTreeBuilder("etree"), strict=True)
    found: ET.Element = parser.parse(text)
    return found


def shown(page: ET.Element) -> str:
    return re.sub(r"\s+", " ", " ".join(page.itertext()))


@pytest.mark.parametrize(
    ("kind", "language"), [*((kind, "en") for kind in sorted(KINDS)), ("endpoint", "de")]
)
def test_the_page_is_valid_and_needs_nothing_from_elsewhere(kind: str, language: str) -> None:
    text = printed(KINDS[kind], language)
    page = parsed(text)
    assert page.attrib["lang"] == language
    names = {each.tag.removeprefix(NAMES).split("}")[-1] for each in page.iter() if isinstance(each.tag, str)}
    assert (
        names & {"script", "link", "iframe", "object", "img", "image", "use", "a", "form", "input"} == set()
    )
    attributes = {name for each in page.iter() for name in each.attrib}
    assert {name for name in attributes if name.startswith("on") or name in ("src", "href", "style")} == set()
    style = "".join(page.find(f".//{NAMES}style").itertext())  # type: ignore[union-attr]
    assert "url(" not in style
    assert "@import" not in style
    assert "@page { size: A4" in style


def test_letter_paper_is_letter() -> None:
    assert "@page { size: letter" in html_report(run_document(sheet(), texts("en")), "letter")


def test_a_screen_reader_is_told_what_the_drawing_shows_and_which_head_a_cell_has() -> None:
    page = parsed(printed(live_sheet()))
    drawings = [each for each in page.iter() if str(each.tag).endswith("svg")]
    assert len(drawings) == 1
    ids = {each.attrib["id"]: "".join(each.itertext()) for each in page.iter() if "id" in each.attrib}
    named = drawings[0].attrib["aria-labelledby"].split()
    assert drawings[0].attrib["role"] == "img"
    assert ids[named[0]] == "Course of the run"
    assert "fell from 100 to" in ids[named[1]]
    heads = list(page.iter(f"{NAMES}th"))
    assert heads
    assert all(head.attrib["scope"] == "col" for head in heads)
    tables = list(page.iter(f"{NAMES}table"))
    assert all(table.find(f"{NAMES}caption") is not None for table in tables)


def test_every_text_of_the_document_is_on_the_page() -> None:
    document = run_document(sheet(sieve=PLANNED), texts("de"))
    page = shown(parsed(html_report(document, "a4"))).replace("\u00a0", " ")
    not_shown = {document.dated, document.missing_letter_text}
    wanted = [re.sub(r"\s+", " ", text) for text in words(document) if text not in not_shown]
    assert [text for text in wanted if text not in page] == []


@pytest.mark.parametrize("name", ["element", "attribute", "entity"])
def test_what_people_type_is_shown_as_typed(name: str) -> None:
    page = parsed(printed(with_texts(sheet(), composed(KEPT[name]))))
    values = ["".join(cell.itertext()) for cell in page.iter(f"{NAMES}dd")]
    assert values.count(composed(KEPT[name])) >= 3


@pytest.mark.full
@pytest.mark.parametrize("name", sorted(KEPT))
def test_every_hostile_text_is_shown_as_typed(name: str) -> None:
    page = parsed(printed(with_texts(sheet(), composed(KEPT[name]))))
    values = ["".join(cell.itertext()).replace("\u00a0", " ") for cell in page.iter(f"{NAMES}dd")]
    assert values.count(composed(KEPT[name])) >= 3


@pytest.mark.full
@pytest.mark.parametrize("name", sorted(set(REFUSED) - {"ten thousand", "lone surrogate"}))
def test_hidden_characters_of_an_old_store_stand_as_escapes(name: str) -> None:
    text = printed(with_texts(sheet(), REFUSED[name]))
    parsed(text)
    assert "\\u" in text
    assert REFUSED[name] not in text


def test_the_same_document_gives_the_same_page() -> None:
    assert printed(live_sheet()) == printed(live_sheet())


@pytest.mark.full
@pytest.mark.real
def test_the_checker_of_the_standard_finds_nothing(tmp_path: Path) -> None:
    """Outside check: the Nu Html Checker (vnu-jar from npm, run by Java), errors and warnings alike."""
    java = require_binary("java")
    jar = Path(script("")[1]["LASTGRAIN_NODE_MODULES"]) / "vnu-jar" / "build" / "dist" / "vnu.jar"
    for kind, found in KINDS.items():
        for language in languages() if kind == "endpoint" else ("en",):
            (tmp_path / f"{kind}-{language}.html").write_text(printed(found, language), encoding="utf-8")
    pages = [str(path) for path in sorted(tmp_path.glob("*.html"))]
    done = subprocess.run(
        [java, "-jar", str(jar), "--format", "gnu", *pages],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2, from memory)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(
    ("text", "ground"),
    [
        ("#555555", "#ffffff"),
        ("#555555", "#f4f4f1"),
        ("#6d4000", "#fff6e0"),
        ("#a3002a", "#ffeef1"),
        ("#00563c", "#f4f4f1"),
        ("#a3002a", "#f4f4f1"),
        ("#b35900", "#ffffff"),
    ],
)
def test_texts_stand_out_from_their_ground(text: str, ground: str) -> None:
    """Contrast of 4.5 : 1 (WCAG 2, level AA, from memory) for every pair of colours on the page."""
    page = printed(live_sheet(E.STOPPED))
    short = {"#555555": "#555", "#ffffff": "#fff"}
    assert short.get(text, text) in page or text in page
    assert (luminance(ground) + 0.05) / (luminance(text) + 0.05) >= 4.5
