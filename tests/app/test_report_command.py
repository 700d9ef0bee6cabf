"""`lastgrain runs report` on stores of made runs."""

from __future__ import annotations

import re
import sqlite3
import sys
from pathlib import Path
from unittest.mock import patch

import pytest

from logger.core.method import Determinations
from logger.core.run.events import EventKind as E
from tests.app.stores import MadeStore, made_store
from tests.core.run.made_runs import PLANNED, method


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    made = made_store(tmp_path / "data")
    made.run(method(), sieve=PLANNED, lot="L-3")
    return made


def code_of(text: str) -> str:
    found = re.search(r"\b[0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4}\b(?!-)", text)
    assert found is not None
    return found.group()


def test_a_folder_gets_a_file_named_by_the_run_and_the_code_is_that_of_runs_show(
    store: MadeStore, tmp_path: Path
) -> None:
    done = store("runs", "report", "1", "--to", str(tmp_path / "out"))
    path = Path(done.out.strip())
    assert (done.code, path.name) == (0, "run-000001-00000001-r1-report.html")
    assert path.parent == tmp_path / "out"
    page = path.read_text(encoding="utf-8")
    assert f"Code       {code_of(page)}" in store("runs", "show", "1").out


def test_nothing_is_overwritten_unasked(store: MadeStore, tmp_path: Path) -> None:
    target = tmp_path / "mine.html"
    target.write_text("notes", encoding="utf-8")
    refused = store("runs", "report", "1", "--to", str(target))
    assert (refused.code, target.read_text(encoding="utf-8")) == (3, "notes")
    assert "is there already and holds something else" in refused.err
    assert store("runs", "report", "1", "--to", str(target), "--replace").code == 0
    again = store("runs", "report", "1", "--to", str(target))
    assert (again.code, again.out.strip()) == (0, str(target))


def test_pdf_in_another_language_on_letter_paper(store: MadeStore, tmp_path: Path) -> None:
    done = store(
        "runs", "report", "1", "--format", "pdf", "--lang", "de", "--paper", "letter", "--to", str(tmp_path)
    )
    path = Path(done.out.strip())
    assert (done.code, path.name) == (0, "run-000001-00000001-r1-report-de.pdf")
    assert path.read_bytes().startswith(b"%PDF-1.7")


@pytest.mark.parametrize(
    ("arguments", "code", "sentence"),
    [
        (("1", "--format", "doc"), 2, "give html or pdf"),
        (("1", "--paper", "a5"), 2, "give a4 or letter"),
        (("1", "--lang", "xx"), 2, "there are: de, en"),
        (("9",), 5, "There is no run 9"),
        (("1", "--to", "x.pdf"), 2, "does not end in .html"),
    ],
)
def test_what_cannot_be_done_ends_in_a_sentence(
    store: MadeStore, arguments: tuple[str, ...], code: int, sentence: str
) -> None:
    done = store("runs", "report", *arguments)
    assert (done.code, done.out) == (code, "")
    assert sentence in done.err
    assert "Traceback" not in done.err


def test_pdf_without_its_package_says_what_to_install(store: MadeStore, tmp_path: Path) -> None:
    with patch.dict(sys.modules, {"typst": None}):
        done = store("runs", "report", "1", "--format", "pdf", "--to", str(tmp_path))
    assert done.code == 2
    assert "pip install 'lastgrain[pdf]'" in done.err
    assert list(tmp_path.glob("*.pdf")) == []


def test_an_altered_record_is_not_printed(store: MadeStore, tmp_path: Path) -> None:
    with sqlite3.connect(store.data.store) as connection:
        connection.execute("UPDATE record SET body = replace(body, '\"L-3\"', '\"L-9\"')")
    connection.close()
    done = store("runs", "report", "1", "--to", str(tmp_path / "out"))
    assert done.code == 5
    assert "was altered" in done.err
    assert not (tmp_path / "out").exists()


def test_determinations_of_the_sample_stand_beside_each_other_with_what_does_not_count(
    tmp_path: Path,
) -> None:
    made = made_store(tmp_path / "data")
    twice = method(determinations=Determinations(count=2, repeatability_limit_pct=0.6))
    made.run(twice, 0.95, sieve=PLANNED)
    made.run(twice, 1.00, sieve=PLANNED)
    made.run(twice, 0.97, sieve=PLANNED, outcome=E.STOPPED)
    target = tmp_path / "two.html"
    assert made("runs", "report", "2", "--to", str(target)).code == 0
    page = target.read_text(encoding="utf-8")
    assert "Determinations of this sample on this sieve" in page
    assert '<td class="left">2 (this)</td>' in page
    assert "Run 3 does not count" in page
    first = re.search(r"Code +(\S+)", made("runs", "show", "1").out)
    assert first is not None
    assert first.group(1) in page
