"""Letters, gauges, bars and charts out of characters."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.console.bigtext import FACES, big_lines
from logger.console.chart import LABEL_CELLS, Axes, draw, time_line
from logger.console.gauge import band_gauge, progress_bar
from logger.console.glyphs import LOW, TALL
from logger.console.literal import cells
from logger.console.pixels import pack_halves, pack_quadrants

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.,:;!?-–+/'()%=±µ° "


@pytest.mark.parametrize(("glyphs", "height"), [(LOW, 5), (TALL, 7)])
def test_every_letter_is_whole_and_different(glyphs: dict[str, tuple[str, ...]], height: int) -> None:
    assert set(LETTERS) == set(glyphs)
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
@given(st.text(LETTERS, min_size=1, max_size=60), st.integers(1, 160), st.integers(1, 14))
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


def test_a_falling_line_falls() -> None:
    points = [(float(t), 100 * math.exp(-t / 50)) for t in range(200)]
    rows = draw(points, Axes(0.0, 199.0, 0.0, 100.0), 46, 6)
    assert all(len(row) == 46 for row in rows)
    first_ink = [next(i for i, char in enumerate(row[LABEL_CELLS:]) if char != " ") for row in rows]
    assert first_ink == sorted(first_ink)
    assert rows[0].startswith("  100┤")
    assert rows[-1].startswith("    0┤")
    assert time_line(Axes(0.0, 199.0, 0.0, 1.0), 46).split() == ["0:00", "3:19"]


def test_a_short_spike_is_not_thinned_away() -> None:
    points = [(float(t), 90.0 if t == 1234 else 10.0) for t in range(2400)]
    rows = draw(points, Axes(0.0, 2399.0, 0.0, 100.0), 46, 6)
    assert rows[0][LABEL_CELLS:].strip()


def test_marks_and_rules() -> None:
    rows = draw([], Axes(0.0, 10.0, 0.0, 10.0), 26, 5, rules=[5.0, 99.0], marks=[(0.0, 0.0), (10.0, 10.0)])
    assert rows[2].count("┄") == 20
    assert rows[-1][LABEL_CELLS] == "◆"
    assert rows[0][-1] == "◆"


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6)), max_size=30),
    st.integers(0, 60),
    st.integers(0, 12),
)
def test_a_chart_never_leaves_its_place(points: list[tuple[float, float]], width: int, height: int) -> None:
    rows = draw(points, Axes(0.0, 100.0, 0.0, 100.0), width, height, marks=points, rules=[50.0])
    assert len(rows) in (0, height)
    assert all(cells(row) == width for row in rows)
