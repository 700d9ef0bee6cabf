"""The charts of a run: load, loss rate and pressure, with earlier runs behind and events below."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from textual.content import Content, Span

from logger.console.axes import Axes, linear_axes, log_axes, time_line
from logger.console.chart import Chart, Layer, Runs, mark_row
from logger.console.curve import Curve, Point
from logger.console.literal import cells, fit
from logger.console.marks import LETTERS, legend
from logger.console.panels.board import Board, View
from logger.console.panels.ink import BLUE, DIM, ORANGE, STRONG, TITLE, line, page
from logger.console.words import duration
from logger.core.snapshot import RunView, WeighingView

STYLES = {
    Layer.AXIS: DIM,
    Layer.GHOST: DIM,
    Layer.BAND: DIM,
    Layer.RULE: DIM,
    Layer.LIMIT: ORANGE,
    Layer.LIVE: BLUE,
    Layer.MARK: STRONG,
}
LEAST_END_S = 60.0
BAND_PARTS = 40
"""A band is drawn stretch by stretch: an interval is made of so many."""
ROWS_FOR_TWO, ROWS_FOR_THREE = 11, 18
"""Rows from which two or three charts are put under each other."""


@dataclass(frozen=True, slots=True)
class Plot:
    """A chart before its size is known. `draw(end_s, width, rows)`; `signs` say what its signs mean."""

    title: str
    clock: str
    signs: tuple[str, ...]
    end_s: float
    marks: tuple[tuple[float, str], ...]
    draw: Callable[[float, int, int], Chart]


def charts(board: Board, width: int, height: int, view: View | None = None) -> Content:
    """The chart that was asked for, or as many as there is room for, the load first."""
    run = board.snapshot.run
    if run is None or height < 3:
        return page([line(("CHART", TITLE), ("  nothing to draw yet", DIM))])
    wanted = [view] if view in DRAW else list(DRAW)[: _how_many(height)]
    return page(stack([DRAW[name](board, run) for name in wanted], width, height))


def stack(plots: list[Plot], width: int, height: int) -> list[Content]:
    """Charts under each other; those with one clock share one time axis and the letters below it."""
    last = [at + 1 == len(plots) or plots[at + 1].clock != plot.clock for at, plot in enumerate(plots)]
    ends = {plot.clock: max(each.end_s for each in plots if each.clock == plot.clock) for plot in plots}
    with_times = height >= 5 * len(plots)
    lettered = with_times and height >= 6 * len(plots)
    below = [
        is_last * (with_times + (lettered and bool(plot.marks)))
        for plot, is_last in zip(plots, last, strict=True)
    ]
    rows, extra = divmod(height - len(plots) - sum(below), len(plots))
    lines: list[Content] = []
    for at, plot in enumerate(plots):
        chart = plot.draw(ends[plot.clock], width, rows + (at < extra))
        lines.append(_title(plot, chart.axes, width, with_times=with_times, letters=lettered and last[at]))
        lines += map(_inked, chart.rows())
        if below[at] > 1:
            lines.append(line((mark_row(plot.marks, chart.axes, width), STRONG)))
        if below[at]:
            lines.append(line((time_line(chart.axes, width), DIM)))
    return lines


def _title(plot: Plot, axes: Axes, width: int, *, with_times: bool, letters: bool) -> Content:
    """Name and clock, then of the explanations as many as fit whole."""
    title = f"{plot.title} over {'' if with_times else duration(axes.end_s) + ' '}{plot.clock}"
    signs = [*plot.signs, *(legend(letter for _, letter in plot.marks) if letters else [])]
    said = ""
    for sign in signs:
        longer = f"{said}, {sign}" if said else f"  {sign}"
        if cells(title + longer) <= width:
            said = longer
    return line((fit(title, width), TITLE), (said, DIM))


def views(run: RunView | None, many: bool) -> tuple[View | None, ...]:
    """What the view key goes through, the usual one first. With room for `many` that is all of them at once."""
    if many:
        return (None, *DRAW)
    return ("weighings", *DRAW) if run is not None and run.mode == "interval" else tuple(DRAW)


def shown_view(board: Board, many: bool) -> View | None:
    """What was asked for, or the usual one."""
    choice = views(board.snapshot.run, many)
    return board.view if board.view in choice else choice[0]


def _how_many(height: int) -> int:
    return 3 if height >= ROWS_FOR_THREE else 2 if height >= ROWS_FOR_TWO else 1


def _inked(runs: Runs) -> Content:
    spans, at = [], 0
    for text, layer in runs:
        if layer in STYLES:
            spans.append(Span(at, at + len(text), STYLES[layer]))
        at += len(text)
    return Content("".join(text for text, _ in runs), spans)


# --- load -----------------------------------------------------------------------------------------------


def _load(board: Board, run: RunView) -> Plot:
    weighed = _weighed(run.weighings) if run.mode == "interval" else []
    curve = Curve.of(weighed) if run.mode == "interval" else board.trace.load
    ghosts = [ghost.load for ghost in board.earlier.runs]
    values = [*curve.low, *curve.high, *(value for ghost in ghosts for _, value in ghost)]

    def draw(end_s: float, width: int, rows: int) -> Chart:
        chart = Chart(linear_axes(end_s, values), width, rows)
        for ghost in ghosts:
            chart.ghost(ghost)
        chart.line(curve)
        for t_s, value in weighed:
            chart.mark(t_s, value)
        return chart

    return Plot("LOAD %", _clock(run), _earlier_sign(board), _end_s(curve, ghosts), _marks(board, run), draw)


def _weighed(weighings: Sequence[WeighingView]) -> list[Point]:
    return [(each.effective_s, each.load_pct) for each in weighings]


def _earlier_sign(board: Board) -> tuple[str, ...]:
    count = len(board.earlier.runs)
    return (f"dots: last {count} runs" if count > 1 else "dots: last run",) if count else ()


# --- loss rate ------------------------------------------------------------------------------------------


def _rate(board: Board, run: RunView) -> Plot:
    curve, band, ghosts = board.trace.rate, board.trace.band, []
    if run.mode == "interval":
        curve, band = _steps(run)
        ghosts = [_step_points(ghost.load) for ghost in board.earlier.runs]
    limit = run.rate.limit_pct_per_min
    values = [*curve.low, *curve.high, *(value for ghost in ghosts for _, value in ghost)]

    def draw(end_s: float, width: int, rows: int) -> Chart:
        chart = Chart(log_axes(end_s, values, limit), width, rows)
        for ghost in ghosts:
            chart.ghost(ghost)
        chart.band(band)
        if limit is not None:
            chart.rule(limit, Layer.LIMIT)
        chart.line(curve)
        return chart

    signs = (*(("dashes: limit",) if limit is not None else ()), "shade: ±u")
    return Plot("RATE %/min", _clock(run), signs, _end_s(curve, ghosts), _marks(board, run), draw)


def _step_points(points: Sequence[Point]) -> list[Point]:
    """Loss rate of each interval, held from its start to its end."""
    steps: list[Point] = []
    for (t0, load0), (t1, load1) in itertools.pairwise(points):
        if t1 > t0:
            rate = 60 * (load0 - load1) / (t1 - t0)
            steps += [(t0, rate), (t1, rate)]
    return steps


def _steps(run: RunView) -> tuple[Curve, Curve]:
    """The steps and their band: the uncertainty of an interval goes with one over its length."""
    steps, band = _step_points(_weighed(run.weighings)), Curve()
    rate_u = run.rate.rate_u_pct_per_min
    if rate_u is None or not steps:
        return Curve.of(steps), band
    last_s = steps[-1][0] - steps[-2][0]
    for (t0, rate), (t1, _) in zip(steps[::2], steps[1::2], strict=True):
        u = rate_u * last_s / (t1 - t0)
        for part in range(BAND_PARTS + 1):
            band.add(t0 + (t1 - t0) * part / BAND_PARTS, rate - u, rate + u)
    return Curve.of(steps), band


# --- pressure -------------------------------------------------------------------------------------------


def _pressure(board: Board, run: RunView) -> Plot:
    view, curve = board.snapshot.pressure, board.trace.dp
    top = max([1.25 * (view.high_pa or 800.0), *curve.high])
    edges = [edge for edge in (view.low_pa, view.high_pa) if edge is not None]

    def draw(end_s: float, width: int, rows: int) -> Chart:
        chart = Chart(Axes(0.0, end_s, 0.0, top), width, rows)
        for ghost in board.earlier.runs:
            chart.ghost([point for point in ghost.dp if point[0] <= end_s])
        for edge in edges:
            chart.rule(edge)
        chart.line(curve)
        return chart

    marks = _marks(board, run, elapsed=True)
    return Plot("PRESSURE Pa", "elapsed", ("dashes: band",) if edges else (), _end_s(curve, []), marks, draw)


DRAW: dict[View, Callable[[Board, RunView], Plot]] = {"load": _load, "rate": _rate, "pressure": _pressure}

# --- what they share ------------------------------------------------------------------------------------


def _clock(run: RunView) -> str:
    return "effective" if run.mode == "interval" else "elapsed"


def _end_s(curve: Curve, ghosts: Sequence[Sequence[Point]]) -> float:
    """The earlier runs' end is seen, so that one sees how far this one is."""
    return max([LEAST_END_S, *curve.t_s[-1:], *(ghost[-1][0] for ghost in ghosts if ghost)])


def _marks(board: Board, run: RunView, elapsed: bool = False) -> tuple[tuple[float, str], ...]:
    """Events with their letters. Weighings are marked on the curve itself where it is made of them."""
    found = []
    by_elapsed = elapsed or run.mode == "live"
    for each in board.trace.marks.values():
        t_s = each.elapsed_s if by_elapsed else each.effective_s
        if t_s is not None and (by_elapsed or each.mark != "weighed"):
            found.append((t_s, LETTERS[each.mark]))
    return tuple(found)
