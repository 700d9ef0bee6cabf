"""CSV that a spreadsheet opens safely."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.report.csv_export import ENCODING, Cell, Column, records_csv, to_csv

TEXT, NUMBER = Column("sample"), Column("residue_g", "number")


def read(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "=cmd|' /C calc'!A0", "＝1+1"]
)
def test_text_like_a_formula_gets_an_apostrophe(text: str) -> None:
    assert read(to_csv([TEXT], [[text]]))[1] == [f"'{text}"]


def test_negative_numbers_stay_numbers_but_not_in_text_columns() -> None:
    rows = read(to_csv([TEXT, NUMBER], [["-7", -0.001], ["S-7", 3], ["", None]]))
    assert rows == [["sample", "residue_g"], ["'-7", "-0.001"], ["S-7", "3"], ["", ""]]


@pytest.mark.parametrize("cell", ["=1", "3.0", math.nan, math.inf])
def test_a_number_column_lets_only_numbers_through(cell: Cell) -> None:
    with pytest.raises(ValueError, match="row 1, column residue_g"):
        to_csv([NUMBER], [[cell]])


def test_flags_and_header() -> None:
    assert to_csv([Column("=x"), NUMBER], [["a", True]]) == "'=x,residue_g\r\na,1\r\n"


def test_a_row_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(ValueError, match="row 1 has 1 cells, the table has 2 columns"):
        to_csv([TEXT, NUMBER], [["a"]])


def test_the_file_says_its_encoding_to_spreadsheets() -> None:
    assert to_csv([TEXT], [["45 µm ± 1"]]).encode(ENCODING).startswith(b"\xef\xbb\xbf")


@settings(deadline=None)
@given(st.lists(st.tuples(st.text(st.characters(exclude_categories=["Cs"])), st.floats(-1e6, 1e6))))
def test_everything_comes_back_and_nothing_is_a_formula(rows: list[tuple[str, float]]) -> None:
    back = read(to_csv([TEXT, NUMBER], rows))[1:]
    assert len(back) == len(rows)
    for (text, number), (cell, figure) in zip(rows, back, strict=True):
        assert cell in (text, f"'{text}")
        assert cell[:1] not in set("=+-@\t\r\n＝＋－＠")
        assert float(figure) == number


def test_records_with_and_without_a_result() -> None:
    body: dict[str, Any] = {
        "run_id": "r1",
        "revision": 1,
        "review": "unreviewed",
        "tested_at": "2026-03-01T08:00:00Z",
        "sample": {"sample_id": "=evil()", "lot": "L-1", "point": "mill 2"},
        "method": {"id": "filler-45-interval", "revision": 1},
        "aperture_um": 45.0,
        "outcome": "endpoint",
        "result": {"charge_g": 25.0, "residue_g": -0.001, "residue_pct": -0.004, "passing_pct": 100.004},
        "assessment": {
            "residue_pct": 0.0,
            "residue_text": "0.0",
            "budget": {"u_pct": 0.01},
            "decision": None,
        },
        "limits": {"residue_max_pct": 12.0, "residue_min_pct": None},
        "simulated": True,
    }
    without = body | {"result": None, "assessment": None, "outcome": "aborted"}
    rows = read(records_csv([body, without]))
    first, second = (dict(zip(rows[0], row, strict=True)) for row in rows[1:])
    assert first["sample_id"] == "'=evil()"
    assert first["residue_g"] == "-0.001"
    assert first["simulated"] == "1"
    assert (first["raw_residue_pct"], first["residue_pct"], first["u_pct"]) == ("-0.004", "0.0", "0.01")
    assert second["residue_pct"] == second["raw_residue_pct"] == ""
    assert second["outcome"] == "aborted"
