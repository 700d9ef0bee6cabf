"""Letters, gauges, bars and charts out of characters."""

from __future__ import annotations

import math
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.console.axes import LABEL_CELLS, Axes, log_axes, time_line
from logger.console.bigtext import FACES, big_lines
from logger.console.chart import Chart, Layer, mark_row
from logger.console.curve import Curve, Point
from logger.console.gauge import band_gauge, progress_bar
from logger.console.glyphs import LOW, TALL
from logger.console.literal import cells
from logger.console.marks import LETTERS, WORDS, legend
from logger.console.pixels import pack_halves, pack_quadrants
from logger.core.snapshot import Mark

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.,:;!?-–+/'()%=±µ° "


@pytest.mark.parametrize(("glyphs", "height"), [(LOW, 5), (TALL, 7)])
def test_every_letter_is_whole_and_different(glyphs: dict[str, tuple[str, ...]], height: int) -> None:
    assert set(ALPHABET) == set(glyphs)
    for char, rows in glyphs.items():
        assert len(rows) == height, char
        assert len({len(row) for row in rows}) == 1, char
        assert set("".join(rows)) <= {"#", "."}, char
    shapes = [rows for char, rows in glyphs.items() if char not in "–-"]
    assert len(set(shapes)) == len(shapes)


@pytest.mark.parametrize("glyphs", [LOW, TALL])
def test_figures_are_equally_wide(glyphs: dict[str, tuple[str, ...]]) -> None:
    assert len({len(glyphs[char][0]) for char in "0123456789"}) == 1


@settings(deadline=None)
@given(st.text(ALPHABET, min_size=1, max_size=60), st.integers(1, 160), st.integers(1, 14))
def test_big_text_never_leaves_its_place(text: str, width: int, rows: int) -> None:
    lines = big_lines(text, width, rows)
    assert len(lines) <= rows
    assert all(cells(line) <= width for line in lines)


def test_the_largest_face_that_fits_is_taken() -> None:
    heights = [len(big_lines("WEIGH", width, 4)) for width in (80, 29, 20, 15, 4)]
    assert heights == [4, 4, 3, 4, 0]
    assert FACES[0].height_px == 7


def test_unknown_letters_are_not_guessed() -> None:
    assert big_lines("sieve ☃", 200, 20) == []
    assert big_lines("32 µm", 80, 4) != []


def test_pixels_are_packed() -> None:
    assert pack_halves(["#.#", ".##"]) == ["▀▄█"]
    assert pack_halves(["#"]) == ["▀"]
    assert pack_quadrants(["#.", ".#"]) == ["▚"]
    assert pack_quadrants(["###"]) == ["▀▘"]
    assert pack_halves([]) == []


@pytest.mark.parametrize(
    ("value", "marker", "where"),
    [
        (2500.0, "█", "inside"),
        (2100.0, "█", "left"),
        (2900.0, "█", "right"),
        (0.0, "◀", "left"),
        (9e9, "▶", "right"),
    ],
)
def test_the_gauge_shows_where_the_value_is(value: float, marker: str, where: str) -> None:
    line = band_gauge(value, 2250.0, 2750.0, 40)
    assert len(line) == 40
    place = line.index(marker)
    left, right = line.find("╠"), line.find("╣")
    assert {"inside": left < place < right, "left": place < left, "right": place > right}[where]


@settings(deadline=None)
@given(
    st.none() | st.floats(allow_nan=False, allow_infinity=False),
    st.floats(0, 1e6),
    st.floats(0, 1e6),
    st.integers(0, 120),
)
def test_the_gauge_is_as_wide_as_asked_or_nothing(
    value: float | None, low: float, high: float, width: int
) -> None:
    assert len(band_gauge(value, low, high, width)) in (width, 0)


@pytest.mark.parametrize(
    ("done", "bar"),
    [(0, "░░░░"), (-5, "░░░░"), (15, "█░░░"), (30, "██░░"), (60, "████"), (90, "████"), (20, "█▍░░")],
)
def test_progress(done: float, bar: str) -> None:
    assert progress_bar(done, 60.0, 4) == bar


def _text(chart: Chart) -> list[str]:
    return ["".join(text for text, _ in row) for row in chart.rows()]


def _of(chart: Chart, layer: Layer) -> int:
    """Cells that show this layer."""
    return sum(len(text.strip()) for row in chart.rows() for text, each in row if each is layer)


def test_a_falling_line_falls() -> None:
    chart = Chart(Axes(0.0, 199.0, 0.0, 100.0), 46, 6)
    chart.line(Curve.of((float(t), 100 * math.exp(-t / 50)) for t in range(200)))
    rows = _text(chart)
    assert all(len(row) == 46 for row in rows)
    first_ink = [next(i for i, char in enumerate(row[LABEL_CELLS:]) if char != " ") for row in rows]
    assert first_ink == sorted(first_ink)
    assert rows[0].startswith("  100┤")
    assert rows[-1].startswith("    0┤")
    assert time_line(chart.axes, 46).split() == ["0:00", "3:19"]


def test_a_short_spike_is_not_thinned_away() -> None:
    chart = Chart(Axes(0.0, 23_999.0, 0.0, 100.0), 46, 6)
    chart.line(Curve.of((float(t), 90.0 if t == 12_345 else 10.0) for t in range(24_000)))
    assert _text(chart)[0][LABEL_CELLS:].strip()


def test_a_missing_reading_parts_the_line() -> None:
    curve = Curve()
    for t_s, value in ((0.0, 50.0), (10.0, 50.0), (11.0, None), (30.0, 50.0), (40.0, 50.0)):
        curve.add(t_s, value)
    chart = Chart(Axes(0.0, 40.0, 0.0, 100.0), 46, 5)
    chart.line(curve)
    drawn = next(row[LABEL_CELLS:] for row in _text(chart) if row[LABEL_CELLS:].strip())
    assert [len(part) for part in drawn.split()] == [11, 11]


def test_marks_rules_and_what_lies_above_what() -> None:
    chart = Chart(Axes(0.0, 10.0, 0.0, 10.0), 26, 5)
    for value in (5.0, 99.0):
        chart.rule(value)
    chart.ghost([(0.0, 5.0), (5.0, 10.0)])
    chart.line(Curve.of([(0.0, 7.5), (10.0, 7.5)]))
    chart.mark(10.0, 7.5)
    rows = _text(chart)
    assert rows[2].startswith("    5┤┄┄"), "a rule lies above a dot and has its value at its left"
    assert "·" in rows[0]
    assert rows[1][-1] == "◆"
    assert _of(chart, Layer.RULE) == 20
    assert _of(chart, Layer.LIVE) == 19
    assert rows[1][LABEL_CELLS:-1].strip("▀▄") == "", "the run hides the earlier ones"


def test_earlier_runs_are_one_dot_a_column() -> None:
    chart = Chart(Axes(0.0, 100.0, 0.0, 100.0), 46, 6)
    chart.ghost([(0.0, 100.0), (20.0, 50.0), (50.0, 0.0)])
    rows = _text(chart)
    assert sum(row.count("·") for row in rows) == 21
    assert rows[0][LABEL_CELLS] == "·"
    assert rows[-1][LABEL_CELLS + 20] == "·"


def test_the_band_is_shade_and_the_limit_a_row_of_its_own() -> None:
    axes = log_axes(60.0, [0.5, 30.0], 0.2)
    assert (axes.bottom, axes.top) == (0.1, 50.0)
    chart = Chart(axes, 46, 8)
    band = Curve()
    for t_s in range(61):
        band.add(float(t_s), 1.0, 20.0)
    chart.band(band)
    chart.rule(0.2, Layer.LIMIT)
    chart.line(Curve.of([(0.0, 5.0), (60.0, 5.0)]))
    assert _of(chart, Layer.LIMIT) == 40
    assert _of(chart, Layer.BAND) >= 80
    assert any(row.startswith("  0.2┤┄") for row in _text(chart))


@pytest.mark.parametrize(
    ("values", "limit", "edges"),
    [
        ([], None, (0.1, 10.0)),
        ([0.0, -3.0], None, (0.1, 10.0)),
        ([1.0], None, (1.0, 10.0)),
        ([], 0.2, (0.1, 0.5)),
        ([0.003, 900.0], 0.1, (0.1, 1000.0)),
        ([7.0, 3.0], None, (2.0, 10.0)),
    ],
)
def test_log_edges(values: list[float], limit: float | None, edges: tuple[float, float]) -> None:
    axes = log_axes(60.0, values, limit)
    assert (axes.bottom, axes.top) == pytest.approx(edges)


def test_a_decade_is_as_high_as_another() -> None:
    axes = Axes(0.0, 1.0, 0.1, 1000.0, log=True)
    assert [axes.up(value, 41) for value in (0.1, 1.0, 10.0, 100.0, 1000.0, -5.0)] == [0, 10, 20, 30, 40, 0]


def test_letters_of_events() -> None:
    axes = Axes(0.0, 20.0, 0.0, 1.0)
    row = mark_row([(0.0, "T"), (10.0, "H"), (10.1, "K"), (20.0, "E"), (20.0, "E")], axes, LABEL_CELLS + 21)
    assert row == " " * LABEL_CELLS + "T" + " " * 9 + "+" + " " * 9 + "E"
    assert legend("THTE") == ["T tapped", "H hold", "E end"]
    assert set(LETTERS) == set(get_args(Mark)) - {""}
    assert set(WORDS) == set(LETTERS.values())


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), max_size=30),
    st.integers(0, 60),
    st.integers(0, 12),
    st.booleans(),
)
def test_a_chart_never_leaves_its_place(points: list[Point], width: int, height: int, log: bool) -> None:
    chart = Chart(Axes(0.0, 100.0, 0.1, 100.0, log), width, height)
    curve = Curve.of(sorted(points))
    chart.ghost(sorted(points))
    chart.band(curve)
    chart.line(curve)
    chart.rule(50.0)
    for at_s, value in points:
        chart.mark(at_s, value)
    rows = _text(chart)
    assert len(rows) in (0, height)
    assert all(cells(row) == width for row in rows)
    assert cells(mark_row([(t_s, "T") for t_s, _ in points], chart.axes, width)) <= max(width, LABEL_CELLS)
