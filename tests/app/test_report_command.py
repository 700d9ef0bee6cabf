"""`lastgrain runs report` on stores of made runs."""

from __future__ import annotations

import json
import re
import sqlite3
import sys
from pathlib import Path
from unittest.mock import patch

import pytest

from logger.app import new_files
from logger.core.method import Determinations, Sieve
from logger.core.run.events import EventKind as E
from logger.report.texts import texts
from tests.app.stores import MadeStore, lastgrain, made_store
from tests.core.run.made_runs import PLANNED, method
from tests.report.sheets import hashed


def one_run(root: Path) -> MadeStore:
    made = made_store(root)
    made.run(method(), sieve=PLANNED, lot="L-3")
    return made


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    """For tests that change it."""
    return one_run(tmp_path / "data")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> MadeStore:
    """For tests that only read it."""
    return one_run(tmp_path_factory.mktemp("data"))


def code_of(text: str) -> str:
    found = re.search(r"\b[0-9A-Z]{4}-[0-9A-Z]{4}-[0-9A-Z]{4}\b(?!-)", text)
    assert found is not None
    return found.group()


def test_a_folder_gets_a_file_named_by_the_run_and_the_code_is_that_of_runs_show(
    kept: MadeStore, tmp_path: Path
) -> None:
    done = kept("runs", "report", "1", "--to", str(tmp_path / "out"))
    path = Path(done.out.strip())
    assert (done.code, path.name) == (0, "run-000001-00000001-r1-report.html")
    assert path.parent == tmp_path / "out"
    page = path.read_text(encoding="utf-8")
    assert f"Code       {code_of(page)}" in kept("runs", "show", "1").out


def test_nothing_is_overwritten_unasked(kept: MadeStore, tmp_path: Path) -> None:
    target = tmp_path / "mine.html"
    target.write_text("notes", encoding="utf-8")
    refused = kept("runs", "report", "1", "--to", str(target))
    assert (refused.code, target.read_text(encoding="utf-8")) == (3, "notes")
    assert "is there already and holds something else" in refused.err
    assert kept("runs", "report", "1", "--to", str(target), "--replace").code == 0
    again = kept("runs", "report", "1", "--to", str(target))
    assert (again.code, again.out.strip()) == (0, str(target))


def test_pdf_in_another_language_on_letter_paper(kept: MadeStore, tmp_path: Path) -> None:
    done = kept(
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
        (("1", "--to", f"{__file__}/x.html"), 5, "cannot be written"),
    ],
)
def test_what_cannot_be_done_ends_in_a_sentence(
    kept: MadeStore, arguments: tuple[str, ...], code: int, sentence: str
) -> None:
    done = kept("runs", "report", *arguments)
    assert (done.code, done.out) == (code, "")
    assert sentence in done.err
    assert "Traceback" not in done.err


def test_pdf_without_its_package_says_what_to_install(kept: MadeStore, tmp_path: Path) -> None:
    with patch.dict(sys.modules, {"typst": None}):
        done = kept("runs", "report", "1", "--format", "pdf", "--to", str(tmp_path))
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
    assert ">2 (this)</td>" in page
    assert "Run 3 does not count" in page
    first = re.search(r"Code +(\S+)", made("runs", "show", "1").out)
    assert first is not None
    assert first.group(1) in page


def test_a_printed_code_is_traced_to_its_revision(store: MadeStore, tmp_path: Path) -> None:
    target = tmp_path / "a.html"
    store("runs", "report", "1", "--to", str(target))
    code = code_of(target.read_text(encoding="utf-8"))
    assert (
        store("runs", "code", "1", code.lower().replace("-", " ")).out
        == "The page is of run 1, revision 1.\n"
    )
    with sqlite3.connect(store.data.store) as connection:
        body = json.loads(connection.execute("SELECT body FROM record").fetchone()[0])
        newer = hashed(body | {"revision": 2, "review": "accepted"})
        connection.execute(
            "INSERT INTO record SELECT run_id, 2, outcome, residue_pct, ? FROM record", (json.dumps(newer),)
        )
    connection.close()
    assert "It is not the newest: that is revision 2." in store("runs", "code", "1", code).out
    listed = store("runs", "code", "1", "--json").json
    assert [(each["revision"], each["sound"]) for each in listed["revisions"]] == [(1, True), (2, True)]
    other = store("runs", "code", "1", "0000-0000-0000")
    assert (other.code, "is no code of run 1" in other.out) == (5, True)


def test_a_code_of_an_altered_record_is_not_good(store: MadeStore) -> None:
    code = store("runs", "code", "1", "--json").json["revisions"][0]["code"]
    with sqlite3.connect(store.data.store) as connection:
        connection.execute("UPDATE record SET body = replace(body, 'op-7', 'op-8')")
    connection.close()
    assert "ALTERED" in store("runs", "code", "1").out
    done = store("runs", "code", "1", code)
    assert (done.code, "was altered" in done.out) == (5, True)


def test_a_shift_is_printed_as_lines_or_written(store: MadeStore, tmp_path: Path) -> None:
    store.run(method(), outcome=None, utc="2026-02-02T06:00:00.000Z")
    when = ("--since", "2026-02-01", "--until", "2026-02-02T00:00+00:00")
    lines = store("runs", "summary", *when)
    assert lines.code == 0
    assert "2026-02-01 00:00:00 UTC to 2026-02-02 00:00:00 UTC" in lines.out
    assert "Runs: 1 (1 at their endpoint)" in lines.out
    done = store("runs", "summary", *when, "--to", str(tmp_path / "out"), "--format", "pdf", "--json")
    assert Path(done.err.strip()).name == "shift-until-20260202T0000Z.pdf"
    assert [(run["number"], run["outcome"], run["decision"]) for run in done.json["runs"]] == [
        (1, "endpoint", "accept")
    ]
    assert done.json["unreviewed"] == [1]


@pytest.mark.parametrize("since", ["yesterday", "2026-13-01", "99999h", "2026-03-01"])
def test_a_time_that_is_none_is_refused(kept: MadeStore, since: str) -> None:
    done = kept("runs", "summary", "--since", since, "--until", "2026-02-02")
    assert done.code == 2
    assert done.err.startswith("--since: ")


def test_an_altered_record_is_in_no_summary(store: MadeStore) -> None:
    with sqlite3.connect(store.data.store) as connection:
        connection.execute("UPDATE record SET body = replace(body, 'op-7', 'op-8')")
    connection.close()
    done = store("runs", "summary", "--since", "2026-02-01", "--until", "2026-02-02")
    assert (done.code, done.out) == (5, "")


def test_a_distribution_writes_its_report_beside_the_table(tmp_path: Path) -> None:
    made = made_store(tmp_path / "data")
    chosen = method(sieve=Sieve(apertures_um=(32.0, 63.0, 90.0)))
    for aperture_um, residue_g in ((32.0, 14.0), (63.0, 7.0), (90.0, 3.0)):
        made.run(chosen, residue_g, aperture_um=aperture_um)
    done = made("distribution", "1", "2", "3", "--report", str(tmp_path / "out"), "--lang", "de", "--json")
    assert (done.code, len(done.json["points"])) == (0, 3)
    path = Path(done.err.strip())
    assert re.fullmatch(r"distribution-1-2-3-[0-9a-z-]{14}-de\.html", path.name)
    assert "Korngrößenverteilung" in path.read_text(encoding="utf-8")


def test_the_page_about_reports_names_options_and_texts_that_exist(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setenv("TERMINAL_WIDTH", "200")
    page = (Path(__file__).parents[2] / "docs" / "reports.md").read_text(encoding="utf-8")
    commands = ("runs report", "runs code", "runs summary", "runs export", "distribution")
    helps = "\n".join(lastgrain(*command.split(), "--help").out for command in commands)
    options = set(re.findall(r"--[a-z][a-z-]+", page))
    assert len(options) > 7
    assert {option for option in options if option not in helps} == set()
    banners = {
        text for key, text in texts("en").entries.items() if key.startswith("banner.") and "_" not in key
    }
    assert {text for text in banners if str(text) not in page} == set()


def test_a_link_under_the_files_name_is_replaced_and_not_followed(tmp_path: Path) -> None:
    victim, link = tmp_path / "victim", tmp_path / "out" / "report.html"
    link.parent.mkdir()
    victim.write_text("kept")
    for name in ("report.html", ".report.html.part"):
        (link.parent / name).symlink_to(victim)
    new_files.write(link, b"new", replace=True)
    assert (link.read_bytes(), link.is_symlink(), victim.read_text()) == (b"new", False, "kept")
    assert [path.name for path in link.parent.iterdir()] == ["report.html"]
