"""The drawing of a run."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

from hypothesis import given, settings
from hypothesis import strategies as st

from logger.report.run_chart import HEIGHT, WIDTH, ChartLimits, Mark, run_chart
from logger.report.run_curves import Rate, RunCurves
from logger.report.svg import Axis, even_ticks, log_ticks, time_ticks
from logger.report.texts import texts

SVG = "{http://www.w3.org/2000/svg}"
LIMITS = ChartLimits(limit_pct_per_min=0.1, margin=1.25, dp_pa=2500.0, band_pa=250.0)
CURVES = RunCurves(
    live=False,
    end_s=600.0,
    weighings=((0.0, 100.0), (300.0, 10.0), (600.0, 1.0)),
    loads=(),
    rates=(Rate(0.0, 300.0, 18.0), Rate(300.0, 600.0, 1.8)),
    pressures=(((0.0, 0.0), (5.0, 2500.0), (600.0, 2500.0)),),
)
MOMENTS = st.floats(0, 600)
SHARES = st.floats(-5, 200)


def drawn(curves: RunCurves, marks: tuple[Mark, ...] = (), limits: ChartLimits = LIMITS) -> ET.Element:
    return ET.fromstring(run_chart(curves, limits, marks, texts("en")))


def test_the_load_axis_is_logarithmic() -> None:
    heights = [float(c.attrib["cy"]) for c in drawn(CURVES).iter(f"{SVG}circle")]
    assert abs((heights[1] - heights[0]) - (heights[2] - heights[1])) < 0.2
    assert heights == sorted(heights)


def test_limit_and_decision_stand_where_their_figures_are() -> None:
    limits = ChartLimits(
        limit_pct_per_min=0.1,
        margin=1.25,
        dp_pa=2500.0,
        band_pa=250.0,
        decided_at_s=600.0,
        decided_rate=0.1,
        decided_u=0.01,
    )
    page = drawn(CURVES, limits=limits)
    ring = [c for c in page.iter(f"{SVG}circle") if c.attrib["fill"] == "#ffffff"]
    line = next(e for e in page.iter(f"{SVG}line") if e.attrib.get("stroke-dasharray") == "7 3")
    assert len(ring) == 1
    assert ring[0].attrib["cy"] == line.attrib["y1"]
    assert "limit 0.1 %/min" in [t.text for t in page.iter(f"{SVG}text")]


def test_marks_that_would_touch_stand_in_two_rows_and_a_third_keeps_its_line() -> None:
    marks = (Mark("a", 100.0), Mark("b", 101.0), Mark("c", 102.0, alarming=True), Mark("d", 900.0))
    page = drawn(CURVES, marks)
    letters = [t for t in page.iter(f"{SVG}text") if t.text in {"a", "b", "c", "d"}]
    assert [t.text for t in letters] == ["a", "b"]
    assert letters[0].attrib["y"] != letters[1].attrib["y"]
    assert len([e for e in page.iter(f"{SVG}line") if e.attrib.get("stroke-dasharray") == "1 3"]) == 3


@given(
    loads=st.lists(st.tuples(MOMENTS, SHARES), max_size=8),
    rates=st.lists(st.floats(-10, 1e4), max_size=8),
    limit=st.one_of(st.none(), st.floats(1e-4, 50)),
    live=st.booleans(),
    end_s=st.floats(0, 1e5),
)
@settings(deadline=None, max_examples=40)
def test_whatever_was_read_the_drawing_stays_inside_and_has_no_figure_that_is_none(
    loads: list[tuple[float, float]], rates: list[float], limit: float | None, live: bool, end_s: float
) -> None:
    curves = RunCurves(
        live=live,
        end_s=end_s,
        weighings=((0.0, 100.0), *loads),
        loads=(tuple(loads),) if loads else (),
        rates=tuple(Rate(10.0 * i, 10.0 * i, rate) for i, rate in enumerate(rates)),
        pressures=(),
    )
    limits = ChartLimits(
        limit_pct_per_min=limit,
        margin=1.25,
        dp_pa=2500.0,
        band_pa=250.0,
        decided_at_s=5.0,
        decided_rate=limit,
    )
    text = run_chart(curves, limits, (), texts("de"))
    assert "nan" not in text
    assert "inf" not in text
    for x, y in re.findall(r"(-?[\d.]+),(-?[\d.]+)", " ".join(re.findall(r'points="([^"]*)"', text))):
        assert 0 <= float(x) <= WIDTH
        assert 0 <= float(y) <= HEIGHT
    ET.fromstring(text)


def test_ticks_are_round_and_few() -> None:
    assert even_ticks(0.0, 2.9, 3) == [0.0, 1.0, 2.0]
    assert even_ticks(5.0, 5.0, 3) == [5.0]
    assert log_ticks(0.07, 20.0, 6) == [0.1, 0.3, 1.0, 3.0, 10.0]
    assert log_ticks(9.0, 110.0, 6) == [10.0, 20.0, 50.0, 100.0]
    assert time_ticks(900.0) == [120.0 * i for i in range(8)]
    assert len(time_ticks(1e6)) > 1


def test_an_axis_keeps_what_lies_outside_at_its_edge() -> None:
    axis = Axis(1.0, 100.0, 0.0, 10.0, log=True)
    assert [axis(value) for value in (-1.0, 1.0, 10.0, 1000.0)] == [0.0, 0.0, 5.0, 10.0]
    assert Axis(2.0, 2.0, 3.0, 9.0)(2.0) == 3.0
