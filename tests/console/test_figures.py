"""The three figures: what stands there while the service does not answer."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from logger.console.panels import figures
from logger.console.panels.board import Board
from logger.console.words import result_line
from logger.core.run.instruct import LID_UNKNOWN
from logger.core.snapshot import ResultView
from tests.console import examples

FREE = "Lid may be opened."


def shown(answering: bool) -> str:
    snapshot = examples.taring()
    stable = dataclasses.replace(snapshot.mass, stable=True, value_g=386.2)
    free = dataclasses.replace(snapshot.pressure, lid=FREE)
    board = Board(dataclasses.replace(snapshot, mass=stable, pressure=free), answering, 5.0, "gone")
    return figures.mass(board, 40, 8).plain + figures.pressure(board, 40, 8).plain


def test_a_live_figure_says_that_it_is_stable_and_the_lid_free() -> None:
    assert "STABLE" in shown(answering=True)
    assert FREE in shown(answering=True)


def test_an_old_figure_is_not_called_stable_and_no_lid_is_called_free() -> None:
    text = shown(answering=False)
    assert "STABLE" not in text
    assert FREE not in text
    assert text.count("NOT LIVE") == 2
    assert LID_UNKNOWN in " ".join(text.split())


def rate_rows(answering: bool = True, value_g: float | None = 400.0) -> list[str]:
    snapshot = examples.sieving()
    mass = dataclasses.replace(snapshot.mass, value_g=value_g)
    board = Board(dataclasses.replace(snapshot, mass=mass), answering, 0.0, "")
    return figures.rate_or_result(board, 52, 12).plain.split("\n")


def test_the_rate_of_a_live_run_is_not_one_of_now_without_service_or_readings() -> None:
    assert "LIMIT" in rate_rows()[0]
    assert any("end expected" in row for row in rate_rows())
    for rows, word in ((rate_rows(answering=False), "NOT LIVE"), (rate_rows(value_g=None), "NOT READ")):
        assert word in rows[0]
        assert "LIMIT" not in rows[0]
        assert not any("end expected" in row for row in rows)


def test_what_is_still_open_is_not_said_beside_the_rate_too() -> None:
    run = examples.sieving().run
    assert run is not None
    assert run.rate.open_conditions
    assert run.rate.text not in " ".join(" ".join(rate_rows()).split())


NARROW, WIDE = 22, 38
"""Columns of the middle figure at 80x24 and at 140x45."""


def result_rows(width: int, **result: Any) -> list[str]:
    snapshot = examples.finished()
    assert snapshot.run is not None
    assert snapshot.run.result is not None
    run = dataclasses.replace(snapshot.run, result=dataclasses.replace(snapshot.run.result, **result))
    board = Board(dataclasses.replace(snapshot, run=run), True, 0.0, "")
    return figures.rate_or_result(board, width, 5).plain.split("\n")


@pytest.mark.parametrize(
    ("result", "rows"),
    [
        ({}, ["● IN SPEC", "at most 25 %"]),
        ({"decision": "reject", "decided": "above 25 %"}, ["■ OUT OF SPEC", "above 25 %"]),
        ({"decision": "inconclusive", "decided": "too near 25 %"}, ["◆ NOT DECIDED", "too near 25 %"]),
        ({"decision": "", "decided": "takes 2 determinations"}, ["no decision: takes 2", "determinations"]),
    ],
)
def test_the_decision_stands_beside_the_result_at_80_columns(result: dict[str, Any], rows: list[str]) -> None:
    """Five rows are there: none of it is cut, and no figure goes."""
    head, *shown = result_rows(NARROW, **result)
    assert head == "RESIDUE  ENDPOINT"
    assert shown == ["23.41 ± 0.12 %", *rows, "passing 76.59 %"]
    assert " ".join(rows) in " ".join(" ".join(result_rows(WIDE, **result)).split())


def test_a_run_without_a_result_has_no_decision() -> None:
    rows = result_rows(
        NARROW,
        outcome="aborted",
        residue_pct=None,
        residue_u_pct=None,
        passing_pct=None,
        decided="",
        decision="",
    )
    assert rows == ["RESIDUE  ABORTED", "–", "passing – %"]


def test_lines_say_the_decision_too() -> None:
    result = ResultView(
        outcome="endpoint",
        residue_pct=4.8,
        residue_u_pct=0.1,
        passing_pct=95.2,
        residue_g=1.2,
        reason="",
        decision="reject",
        decided="above 4 %",
    )
    assert result_line(result).endswith("passing 95.20 %, out of spec (above 4 %)")
