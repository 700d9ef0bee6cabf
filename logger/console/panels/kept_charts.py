"""Charts of kept runs: one run with its limits and events, or several over each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from textual.content import Content

from logger.console.axes import LABEL_CELLS, Axes, linear_axes, log_axes
from logger.console.chart import Chart, Layer
from logger.console.curve import Point
from logger.console.kept import Curves, KeptRun
from logger.console.panels import charts
from logger.console.panels.charts import Plot
from logger.console.panels.ink import DIM, TITLE, line, page

LETTERS = "ABCDEF"
"""One for each run that is compared."""


def run_chart(run: KeptRun, width: int, height: int) -> Content:
    """Load, loss rate and pressure under each other, as many as there is room for."""
    curves = run.curves
    if curves is None or height < 3:
        return page([line(("CHART", TITLE), ("  the suction was never seen on: nothing to draw", DIM))])
    plots = [_load(run, curves), _rate(run, curves), _pressure(run, curves)]
    return page(charts.stack(plots[: 3 if height >= 14 else 2 if height >= 9 else 1], width, height))


def _load(run: KeptRun, curves: Curves) -> Plot:
    values = [*curves.load.low, *curves.load.high]

    def draw(end_s: float, width: int, rows: int) -> Chart:
        chart = Chart(linear_axes(end_s, values), width, rows)
        chart.line(curves.load)
        for t_s, value in curves.weighings:
            chart.mark(t_s, value)
        return chart

    return Plot("LOAD %", "elapsed", ("diamonds: weighed",), curves.end_s, run.marks, draw)


def _rate(run: KeptRun, curves: Curves) -> Plot:
    limit = run.limit

    def draw(end_s: float, width: int, rows: int) -> Chart:
        chart = Chart(log_axes(end_s, [*curves.rate.low, *curves.rate.high], limit), width, rows)
        if limit is not None:
            chart.rule(limit, Layer.LIMIT)
        chart.line(curves.rate)
        return chart

    signs = ("log", *((f"dashes: limit {limit:g}",) if limit is not None else ()))
    return Plot("LOSS RATE %/min", "elapsed", signs, curves.end_s, run.marks, draw)


def _pressure(run: KeptRun, curves: Curves) -> Plot:
    edges = run.band_pa or ()
    top = 1.25 * max([100.0, *edges, *curves.dp.high])

    def draw(end_s: float, width: int, rows: int) -> Chart:
        chart = Chart(Axes(0.0, end_s, 0.0, top), width, rows)
        for edge in edges:
            chart.rule(edge)
        chart.line(curves.dp)
        return chart

    return Plot("PRESSURE Pa", "elapsed", ("dashes: band",) if edges else (), curves.end_s, run.marks, draw)


def compared_chart(runs: Sequence[KeptRun], width: int, height: int) -> Content:
    """Loads over each other, and loss rates where there is room: each run is drawn with its own letter."""
    drawn = [
        (letter, run.curves) for letter, run in zip(LETTERS, runs, strict=False) if run.curves is not None
    ]
    if not drawn or height < 3:
        return page([line(("CHART", TITLE), ("  nothing to draw: the suction was never seen on", DIM))])
    loads = [(letter, list(curves.loads)) for letter, curves in drawn]
    rates = [(letter, list(curves.rates)) for letter, curves in drawn]
    limits = {run.limit for run in runs}
    limit = limits.pop() if len(limits) == 1 else None
    end_s = max(curves.end_s for _, curves in drawn)

    def draw_load(end: float, across: int, rows: int) -> Chart:
        chart = Chart(linear_axes(end, [v for _, points in loads for _, v in points]), across, rows)
        return _lettered(chart, loads, across)

    def draw_rate(end: float, across: int, rows: int) -> Chart:
        chart = Chart(log_axes(end, [v for _, points in rates for _, v in points], limit), across, rows)
        if limit is not None:
            chart.rule(limit, Layer.LIMIT)
        return _lettered(chart, rates, across)

    plots = [Plot("LOAD %", "elapsed", ("a letter a run",), end_s, (), draw_load)]
    if height >= 9:
        signs = ("log", *((f"dashes: limit {limit:g}",) if limit is not None else ()))
        plots.append(Plot("LOSS RATE %/min", "elapsed", signs, end_s, (), draw_rate))
    return page(charts.stack(plots, width, height))


def _lettered(chart: Chart, lines: Sequence[tuple[str, Sequence[Point]]], width: int) -> Chart:
    """Each line as a row of its letter; where lines lie on each other their letters take turns."""
    columns, axes = max(2, width - LABEL_CELLS), chart.axes
    for turn, (letter, points) in enumerate(lines):
        if not points:
            continue
        times, values = zip(*points, strict=True)
        for column in range(turn, columns, len(lines)):
            t_s = axes.start_s + (axes.end_s - axes.start_s) * column / (columns - 1)
            if times[0] <= t_s <= times[-1]:
                chart.mark(t_s, float(np.interp(t_s, times, values)), letter)
        chart.mark(times[-1], values[-1], letter)
    return chart
