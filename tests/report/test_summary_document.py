"""The summary of a shift: every run of it, and what must not be overlooked counted first."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from logger.core.run.events import EventKind as E
from logger.report.document import Document, KeyFigures, Lines, Table
from logger.report.plain import plain_report
from logger.report.run_sheet import RunSheet
from logger.report.summary_document import Summary, SummaryEntry, SummaryRun, joint_code, summary_document
from logger.report.texts import texts
from tests.core.run.made_runs import PLANNED, method
from tests.report.sheets import sheet

EN = texts("en")


def run(number: int, found: RunSheet | None) -> SummaryRun:
    return SummaryRun(
        number=number,
        started_at=f"2026-02-01T0{number}:00:00.000Z",
        sample_id=f"S-{number}",
        lot="L-3" if number == 1 else "",
        method_id="m",
        body=None if found is None else found.body,
    )


def summary(**changes: Any) -> Summary:
    """An endpoint with a deviation, one stopped by hand, one aborted, one open; two checks."""
    odd: dict[str, Any] = {"deviations": [{"key": "x", "text": "tare lighter"}]}
    runs = (
        run(1, sheet(method(), sieve=PLANNED, **odd)),
        run(2, sheet(ended=E.STOPPED, review="rejected")),
        run(3, sheet(ended=None)),
        run(4, None),
    )
    entries = (
        SummaryEntry(utc="2026-02-01T05:00:00.000Z", by="op-7", text="Passed: weight W-200.", passed=True),
        SummaryEntry(utc="2026-02-01T05:10:00.000Z", by="op-7", text="FAILED: zero.", passed=False),
        SummaryEntry(utc="2026-02-01T05:20:00.000Z", by="op-7", text="New extractor bag noted."),
    )
    made = Summary(
        since="2026-02-01T00:00:00.000Z", until="2026-02-01T12:00:00.000Z", runs=runs, entries=entries
    )
    return replace(made, **changes)


def figures(document: Document) -> dict[str, tuple[str, str, str]]:
    return {
        f.label: (f.value, f.detail, f.level)
        for section in document.sections
        for block in section.blocks
        if isinstance(block, KeyFigures)
        for f in block.figures
    }


def rows(document: Document, title: str) -> tuple[tuple[str, ...], ...]:
    section = next(s for s in document.sections if s.title == title)
    return next(block.rows for block in section.blocks if isinstance(block, Table))


def test_what_matters_is_counted() -> None:
    found = figures(summary_document(summary(), EN))
    assert found["Runs"] == ("4", "1 at their endpoint", "plain")
    assert found["Decisions"][0] == "1 / 0 / 0"
    assert found["Unreviewed"][::2] == ("2", "warning")
    assert found["Deviations"] == ("1", "runs concerned: 1", "warning")
    assert found["Checks"] == ("2", "1 failed", "alarm")


def test_every_run_has_its_row_and_none_without_a_result_shows_a_figure() -> None:
    table = rows(summary_document(summary(), EN), "Runs")
    assert [row[0] for row in table] == ["1", "2", "3", "4"]
    assert table[0][1:3] == ("2026-02-01 01:00", "S-1, L-3")
    assessed = summary().bodies[0]["assessment"]
    figures_of_it = (assessed["residue_text"], assessed["expanded_u_text"])
    assert table[0][4:] == ("endpoint", *figures_of_it, "ACCEPT", "unreviewed")
    assert table[1][4] == "stopped by hand"
    assert table[1][7:] == ("–", "rejected")
    assert table[2][4:] == ("aborted", "–", "–", "–", "unreviewed")
    assert table[3][4:] == ("open", "–", "–", "–", "–")


def test_deviations_waiting_runs_and_entries_are_listed() -> None:
    text = plain_report(summary_document(summary(), EN))
    assert "- Run 1: tare lighter" in text
    assert "Waiting for a review\n  1, 3" in text
    assert "New extractor bag noted." in text


def test_an_empty_shift_says_so() -> None:
    text = plain_report(summary_document(summary(runs=(), entries=()), EN))
    assert "No run began in this time." in text
    assert "Decisions: 0 / 0 / 0" in text


def test_simulated_runs_are_named_first() -> None:
    document = summary_document(summary(runs=(run(1, sheet(simulated=True)), run(2, sheet()))), EN)
    assert [(banner.text, banner.detail) for banner in document.banners] == [
        ("SIMULATED", "Runs on a simulated rig: 1.")
    ]


def test_the_code_changes_with_any_record_and_with_their_order() -> None:
    codes = {
        joint_code(hashes)
        for hashes in (("a" * 64,), ("b" * 64,), ("a" * 64, "b" * 64), ("b" * 64, "a" * 64))
    }
    assert len(codes) == 4


def test_plain_lines_have_columns_under_their_heads() -> None:
    lines = plain_report(summary_document(summary(), texts("de"))).splitlines()
    head = next(i for i, line in enumerate(lines) if "begonnen (UTC)" in line)
    place = lines[head].index("Probe, Charge")
    assert lines[head + 1][place:].startswith("S-1, L-3")


def test_the_newest_entry_of_the_register_is_on_the_paper_also_when_nothing_was_entered() -> None:
    head = f"12:{'a1' * 32}"
    for entries in (summary().entries, ()):
        section = summary_document(summary(entries=entries, register_head=head), texts("en")).sections[-1]
        assert section.blocks[-1] == Lines((f"Newest entry of the register: {head}",))
    assert "Newest entry" not in str(summary_document(summary(), texts("en")))
