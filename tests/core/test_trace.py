"""The trace file: what is read, and what every bad file is told."""

from __future__ import annotations

import contextlib
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.trace import Trace, TraceError, format_trace, parse_trace

HEADER = "t_s,mass_g,dp_pa,stable"


def read(*lines: str) -> Trace:
    return parse_trace(lines, "run.csv")


def test_reads_columns_empty_cells_and_the_lines_before_the_header() -> None:
    trace = read("# charge_g = 25.004", "# run_id = x", HEADER, "-1,25.0,,1", "0,,0.5,0", "0,24.9,2500,0")
    assert trace.charge_g == 25.004
    assert trace.meta["run_id"] == "x"
    assert list(trace.rows()) == [
        (-1.0, 25.0, None, True),
        (0.0, None, 0.5, False),
        (0.0, 24.9, 2500.0, False),
    ]


def test_takes_byte_order_mark_crlf_other_column_order_and_further_columns() -> None:
    trace = read("\ufeffstable,dp_pa,note,mass_g,t_s\r\n", "1,2500,hello,25.0,0\r\n", "\r\n")
    assert list(trace.rows()) == [(0.0, 25.0, 2500.0, True)]


@pytest.mark.parametrize(
    ("lines", "line", "said"),
    [
        ([], None, "the file is empty"),
        (["# charge_g = 25"], None, "the file is empty"),
        ([HEADER], 1, "no rows after the header"),
        (["t_s,mass_g,stable", "0,1,1"], 1, "column dp_pa is missing"),
        (["t_s,dp_pa,stable", "0,1,1"], 1, "column mass_g is missing"),
        (["t_s,mass_kg,dp_pa,stable", "0,1,1,1"], 1, "'mass_kg' is not in our units"),
        (["t_min,mass_g,dp_pa,stable", "0,1,1,1"], 1, "call it t_s"),
        (["t_s,mass_g,dp_kpa,stable", "0,1,1,1"], 1, "call it dp_pa"),
        (["t_s,mass_g,mass_g,dp_pa,stable", "0,1,1,1,1"], 1, "twice"),
        ([HEADER, "0,25,2500,1", "-1,25,2500,1"], 3, "t_s falls from 0 to -1"),
        ([HEADER, "0,nan,2500,1"], 2, "mass_g is 'nan'"),
        ([HEADER, "0,25,inf,1"], 2, "dp_pa is 'inf'"),
        ([HEADER, "0,1e999,,1"], 2, "beyond any number"),
        ([HEADER, "0,1_0,,1"], 2, "not a plain number"),
        ([HEADER, "0,١٢,,1"], 2, "not a plain number"),
        ([HEADER, ",25,,1"], 2, "t_s is empty"),
        ([HEADER, "0,25,,yes"], 2, "stable must be 0 or 1"),
        ([HEADER, "0,25,,1,7"], 2, "5 cells where the header has 4"),
        ([HEADER, "-5,25,,1"], 2, "no mass_g from t_s = 0 on"),
        (["# charge_kg = 0.025", HEADER], 1, "in grams as charge_g"),
        (["# charge_g = -1", HEADER], 1, "above zero"),
        ([HEADER, "# charge_g = 25"], 2, "before it"),
    ],
)
def test_bad_files_are_told_where_and_what(lines: list[str], line: int | None, said: str) -> None:
    with pytest.raises(TraceError, match=r"run\.csv") as caught:
        read(*lines)
    assert caught.value.line == line
    assert said in caught.value.sentence()


def test_readability_and_rest_are_seen_in_the_readings() -> None:
    trace = read(HEADER, "-60,25.00,,1", "-1,25.01,,1", "0,24.87,2500,1")
    assert trace.readability_g() == 0.01
    assert read(HEADER, "0,24.870,,1", "1,24.865,,1", "2,24.85,,1").readability_g() == 0.005
    assert read(HEADER, "0,24.1234567,,1").readability_g() == 1e-6
    assert trace.rest_s == 59.0
    assert trace.has_pressure


numbers = st.floats(-1e6, 1e6)


@settings(deadline=None, max_examples=50)
@given(
    st.lists(
        st.tuples(numbers, st.none() | numbers, st.none() | st.floats(-1e5, 1e5), st.booleans()), min_size=1
    )
)
def test_writing_and_reading_back_changes_nothing(
    rows: list[tuple[float, float | None, float | None, bool]],
) -> None:
    rows = sorted(rows, key=lambda row: row[0])
    rows.append((1e6, 1.0, None, True))
    columns = [[math.nan if v is None else v for v in column] for column in zip(*rows, strict=True)]
    trace = Trace(
        "x",
        np.array(columns[0]),
        np.array(columns[1]),
        np.array(columns[2]),
        np.array(columns[3], bool),
        {"a": "b"},
    )
    again = parse_trace(format_trace(trace), "x")
    assert list(again.rows()) == rows
    assert again.meta == {"a": "b"}


@settings(deadline=None, max_examples=200)
@given(st.lists(st.text(alphabet="0123456789.,-+eE#=_ntsmagdpbl \t", max_size=30), max_size=8))
def test_no_text_raises_anything_but_a_trace_error(lines: list[str]) -> None:
    with contextlib.suppress(TraceError):
        assert parse_trace([HEADER, *lines], "x").t_s.size
