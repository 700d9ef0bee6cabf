"""What a run's report says: figures as recorded, and never more than the run can stand behind."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from typing import Any

import pytest

from logger.core.method import Endpoint
from logger.core.record_code import record_code, same_code
from logger.core.run.events import EventKind as E
from logger.report.document import Document, Facts, KeyFigures, Table
from logger.report.run_document import run_document
from logger.report.run_events import ROUTINE
from logger.report.run_identity import rule_text
from logger.report.run_sheet import RunSheet, hash_agrees
from logger.report.texts import texts
from tests.core.run.made_runs import PLANNED
from tests.report.sheets import hashed, live_sheet, sheet

EN = texts("en")


def words(value: Any) -> Iterator[str]:
    """Every text of a document but its drawings."""
    if is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            if field.name not in (
                "svg",
                "kind",
                "language",
                "author",
                "level",
                "style",
                "align",
                "page_text",
            ):
                yield from words(getattr(value, field.name))
    elif isinstance(value, tuple):
        for item in value:
            yield from words(item)
    elif isinstance(value, str) and value:
        yield value


def document(found: RunSheet) -> Document:
    return run_document(found, EN)


def all_text(found: RunSheet) -> str:
    return "\n".join(words(document(found)))


def facts(found: RunSheet) -> dict[str, str]:
    blocks = [block for section in document(found).sections for block in section.blocks]
    return {name: value for block in blocks if isinstance(block, Facts) for name, value in block.rows}


def key_figures(found: RunSheet) -> list[tuple[str, str]]:
    blocks = [block for section in document(found).sections for block in section.blocks]
    return [(f.label, f.value) for block in blocks if isinstance(block, KeyFigures) for f in block.figures]


def banners(found: RunSheet) -> list[str]:
    return [banner.text for banner in document(found).banners]


def test_an_endpoint_reports_the_figures_of_the_record() -> None:
    found = sheet(sieve=PLANNED)
    assessed = found.body["assessment"]
    assert key_figures(found)[:3] == [
        ("Residue", f"{assessed['residue_text']} %"),
        ("Passing", f"{assessed['passing_text']} %"),
        ("Decision", assessed["decision"]["outcome"].upper()),
    ]
    text = all_text(found)
    assert f"U = {assessed['expanded_u_text']} % of the charge" in text
    assert "coverage factor k = " in text
    assert found.body["record_sha256"] in text
    assert found.body["method"]["sha256"] in text
    assert banners(found) == ["UNREVIEWED"]


def test_simulated_stands_across_the_page() -> None:
    assert banners(sheet(simulated=True)) == ["SIMULATED", "UNREVIEWED"]


@pytest.mark.parametrize(
    ("outcome", "banner", "sentence"),
    [
        (E.STOPPED, "STOPPED BY HAND", "Stopped by hand. This is NOT an endpoint."),
        (E.TIME_LIMIT_REACHED, "TIME LIMIT", "Time limit reached. This is NOT an endpoint."),
    ],
)
def test_another_end_is_never_called_an_endpoint(outcome: E, banner: str, sentence: str) -> None:
    found = sheet(ended=outcome)
    assert banner in banners(found)
    assert facts(found)["Ended"] == sentence
    assert "Figure that closed it" not in facts(found)
    titles = [section.title for section in document(found).sections]
    assert "Why the run ended: not at an endpoint" in titles
    assert "Why the run ended there" not in titles
    assert ("Decision", "none") in key_figures(found)
    assert ("Run ended by", "endpoint") not in key_figures(found)


def test_a_run_without_a_result_shows_no_figure_that_reads_as_one() -> None:
    found = sheet(ended=None)
    assert banners(found) == ["NO RESULT", "UNREVIEWED"]
    assert key_figures(found) == [("Residue", "none"), ("Run ended by", "aborted")]
    titles = [section.title for section in document(found).sections]
    assert "Uncertainty budget" not in titles
    assert "No chart" in all_text(found)
    assert "Outcome aborted: wrong sample" in all_text(found)


def test_the_numbers_that_closed_it_stand_with_their_limit() -> None:
    told = facts(live_sheet())
    assert told["Figure that closed it"] == "0.100 %/min"
    assert told["Standard error"] == "0.010 %/min"
    assert told["Limit"] == "0.1 %/min"
    assert told["With two standard errors"] == "0.120 %/min, allowed 0.125 %/min"
    assert told["Decision after"] == "60 s"


def test_every_source_of_the_budget_is_a_row_and_what_is_missing_is_named() -> None:
    found = sheet(sieve=PLANNED)
    budget = found.body["assessment"]["budget"]
    section = next(s for s in document(found).sections if s.title == "Uncertainty budget")
    table = section.blocks[0]
    assert isinstance(table, Table)
    assert [row[0] for row in table.rows] == [part["name"] for part in budget["components"]]
    assert all(part["name"] in all_text(found) for part in budget["not_included"])


def test_times_name_their_zone_and_a_typed_time_keeps_what_was_typed() -> None:
    sample = dict(sheet().body["sample"])
    for typed, shown in (
        ("2026-02-01T07:30:00+01:00", "2026-02-01T07:30:00+01:00 (2026-02-01 06:30:00 UTC)"),
        ("2026-02-01 06:30", "2026-02-01 06:30 (zone not given)"),
        ("2026-02-01T06:30:00Z", "2026-02-01 06:30:00 UTC"),
        ("yesterday", "yesterday"),
        ("", "–"),
    ):
        assert facts(sheet(sample=sample | {"sampled_at": typed}))["Sampled"] == shown
    assert facts(sheet())["Tested (end of run)"].endswith(" UTC")


SIGNATURE = {
    "person_id": "r-1",
    "name": "R. Example",
    "role": "reviewer",
    "kind": "accepted",
    "meaning": "reviewed and accepted",
    "why": "",
    "utc": "2026-02-01T08:00:00.000Z",
    "method": "password",
    "revision": 1,
    "record_sha256": "cd" * 32,
}
CORRECTION = {
    "person_id": "op-7",
    "name": "O. Example",
    "role": "operator",
    "why": "label misread",
    "utc": "2026-02-01T09:00:00.000Z",
    "method": "password",
    "revision": 2,
    "record_sha256": "ef" * 32,
    "changes": [{"what": "sample.lot", "before": "L-3", "after": "L-8"}],
}


def test_a_signature_stands_with_its_meaning() -> None:
    found = sheet(revision=2, review="accepted", signatures=[SIGNATURE])
    assert banners(found) == []
    assert {"R. Example (r-1), reviewer", "reviewed and accepted", "2026-02-01 08:00:00 UTC"} <= set(
        words(document(found))
    )


def test_a_correction_undoes_the_signature_and_shows_both_values() -> None:
    found = sheet(revision=3, review="unreviewed", signatures=[SIGNATURE], corrections=[CORRECTION])
    assert banners(found) == ["CORRECTED, UNREVIEWED"]
    text = all_text(found)
    assert "reviewed and accepted (of an earlier revision: holds no longer)" in text
    assert {"sample.lot", "L-3", "L-8", "label misread"} <= set(words(document(found)))
    assert "before the corrections" in text


def test_what_was_rejected_or_declared_invalid_says_so_first() -> None:
    rejected = SIGNATURE | {"kind": "rejected", "why": "sieve torn"}
    assert banners(sheet(review="rejected", signatures=[rejected])) == ["REJECTED"]
    declared = CORRECTION | {"outcome": "endpoint", "why": "wrong sieve"}
    invalid = sheet(review="rejected", outcome="invalid", result=None, assessment=None, invalidation=declared)
    assert banners(invalid) == ["DECLARED INVALID", "NO RESULT"]


def test_marks_on_the_chart_are_the_letters_of_the_events() -> None:
    found = sheet()
    events = next(s for s in document(found).sections if s.title == "Events").blocks[0]
    assert isinstance(events, Table)
    letters = [row[0] for row in events.rows if row[0]]
    assert letters == list("abcdefghij"[: len(letters)])
    assert len(letters) > 2
    on = next(row for row in events.rows if row[3] == "Suction seen on.")
    assert on[:3] == ("a", "06:00:00", "0:00")


def test_a_long_run_leaves_out_routine_steps_and_says_how_many() -> None:
    found = sheet()
    step = next(e for e in found.events if e.kind is E.INTERVAL_OVER)
    many = replace(found, events=(*found.events[:-1], *[step] * 30, found.events[-1]))
    text = all_text(many)
    routine = sum(event.kind in ROUTINE for event in many.events)
    assert f"{routine} routine steps of the intervals are left out" in text
    assert "Interval of 20 s over" not in text
    assert "Interval of 20 s over" in all_text(found)


def test_a_very_long_run_keeps_the_first_and_last_events() -> None:
    found = sheet()
    note = next(e for e in found.events if e.kind is E.DECIDED)
    many = replace(found, events=(*found.events[:-1], *[note] * 200, found.events[-1]))
    kept = sum(event.kind not in ROUTINE for event in many.events)
    text = all_text(many)
    assert f"{kept - 90} events are left out here" in text
    assert "Run planned: sample S-1" in text
    assert "Residue 3.8 % of the charge, expanded" in text


def test_old_records_without_the_newer_parts_still_print() -> None:
    newer = ("fitness", "register_head", "displays", "operator_name", "approval", "repeat", "signatures")
    newest = ("corrections", "invalidation", "conditions")
    body = {name: value for name, value in sheet().body.items() if name not in newer + newest}
    body["times"] = {name: body["times"][name] for name in ("effective_s", "decision_s", "suction_off_s")}
    assert "SHA-256 of the record" in all_text(replace(sheet(), body=hashed(body)))


def test_the_hash_tells_an_altered_record() -> None:
    found = sheet()
    assert hash_agrees(found.body)
    assert not hash_agrees(dict(found.body) | {"operator_id": "someone else"})


def test_the_code_is_the_beginning_of_the_hash_and_bears_misreading() -> None:
    assert record_code("00" * 32) == "0000-0000-0000"
    assert record_code("ff" * 32) == "ZZZZ-ZZZZ-ZZZZ"
    assert record_code(_hex("000010001000011")) == "1230-0000-0000"
    code = record_code(_hex("000010000000001"))
    assert code == "1010-0000-0000"
    assert same_code("lo1o oooo-0000", _hex("000010000000001"))
    assert not same_code("1011-0000-0000", _hex("000010000000001"))
    with pytest.raises(ValueError, match="64 hexadecimal digits"):
        record_code("abc")


def _hex(bits: str) -> str:
    return f"{int(bits.ljust(256, '0'), 2):064x}"


@pytest.mark.parametrize(
    ("rule", "words_of_it"),
    [
        (
            {"rule": "loss-rate", "limit_pct_per_min": 0.1},
            "at or below 0.1 %/min, and with two standard errors at or",
        ),
        ({"rule": "fixed-time", "time_s": 300.0}, "after 300 s (5 min) of effective sieving"),
        (
            {"rule": "relative-change", "change_pct": 5.0, "change_g": 0.1, "combine": "both"},
            "by 5 % or less from one weighing to the next and mass changed by 0.1 g or less",
        ),
        (
            {
                "rule": "relative-change",
                "change_pct": 1.0,
                "small_residue_pct": 2.0,
                "small_change_pct": 5.0,
            },
            "; for residues of 2 % or less: 5 %",
        ),
    ],
)
def test_every_rule_is_told_with_its_figures(rule: dict[str, Any], words_of_it: str) -> None:
    endpoint = dataclasses.asdict(Endpoint(**rule))
    assert words_of_it in rule_text(endpoint, EN)
