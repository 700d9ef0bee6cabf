"""The lower half: chart or weighings at the left, the newest events at the right."""

from __future__ import annotations

from textual.content import Content

from logger.console import chart
from logger.console.chart import Axes, Point
from logger.console.literal import fit, literal, wrap
from logger.console.panels.board import Board
from logger.console.panels.ink import BAD, BLUE, DIM, STRONG, TITLE, line, page
from logger.console.words import LEVEL_MARKS, LEVEL_WORDS, clock, duration
from logger.core.snapshot import EventView, PressureView, RunView, WeighingView


def chart_shown(board: Board) -> bool:
    """Chart or weighings: as chosen, else by the mode."""
    run = board.snapshot.run
    return board.chart_wanted if board.chart_wanted is not None else run is None or run.mode == "live"


def weighings(board: Board, width: int, height: int) -> Content:
    """The weighings, the newest last, with the loss rate of each interval."""
    run = board.snapshot.run
    rows = _weighing_rows(run.weighings) if run else []
    head = f"{'sieved':>7}{'load g':>9}{'load %':>8}{'%/min':>7}"
    shown = rows[-max(0, height - 1) :]
    lines = [line((fit(head, width), TITLE))]
    lines += [line(fit(row, width)) for row in shown[:-1]] + [
        line((fit(row, width), STRONG)) for row in shown[-1:]
    ]
    return page(lines if rows else [*lines, line(("  no weighing yet", DIM))][: max(1, height)])


def _weighing_rows(weighed: tuple[WeighingView, ...]) -> list[str]:
    rows = []
    for index, each in enumerate(weighed):
        rate = _rate_since(weighed[index - 1], each) if index else None
        shown = "" if rate is None else f"{rate:.2f}"
        rows.append(f"{duration(each.effective_s):>7}{each.load_g:>9.3f}{each.load_pct:>8.2f}{shown:>7}")
    return rows


def _rate_since(before: WeighingView, after: WeighingView) -> float | None:
    minutes = (after.effective_s - before.effective_s) / 60
    return (before.load_pct - after.load_pct) / minutes if minutes > 0 else None


def events(board: Board, width: int, height: int) -> Content:
    """The newest events that fit whole, newest first; a longer list is behind a key."""
    everything = board.snapshot.events
    lines = [line(("EVENTS", TITLE), ("  newest first, e shows all", DIM))]
    for event in reversed(everything):
        block = event_lines(event, width)
        if len(lines) + len(block) > height:
            break
        lines += block
    if len(lines) == 1 and everything and height > 1:
        lines += event_lines(everything[-1], width)[: height - 1]
    return page(lines[:height])


def event_lines(event: EventView, width: int) -> list[Content]:
    """One event wrapped, with its time, and its level as a mark and a word."""
    word = LEVEL_WORDS[event.level]
    mark = LEVEL_MARKS[event.level]
    text = f"{clock(event.utc)} {mark} {word + ' ' if word else ''}{literal(event.text, 400)}"
    style = BAD if word else ""
    first, *rest = wrap(text, width) or [""]
    indent = 11 if width > 40 else 2
    lines = [line((first, style))]
    tail = wrap(" ".join(rest), width - indent)
    return lines + [line((" " * indent + each, style)) for each in tail]


def charts(board: Board, width: int, height: int) -> Content:
    """Load over time, and the pressure with its band below it when there is room."""
    run = board.snapshot.run
    if run is None or height < 3:
        return page([line(("CHART", TITLE), ("  nothing to draw yet", DIM))])
    pressure_rows = max(0, min(8, height // 3)) if height >= 9 else 0
    load_rows = height - 2 - (pressure_rows + 1 if pressure_rows else 0)
    return page([*_load(board, run, width, load_rows), *_pressure(board, width, pressure_rows)])


def _load(board: Board, run: RunView, width: int, rows: int) -> list[Content]:
    by_weighing = run.mode == "interval"
    points = _weighed_points(run) if by_weighing else _points(board.trace.t_s, board.trace.load_pct)
    axes = _axes(points)
    clock_name = "effective" if by_weighing else "elapsed"
    with_time_line = rows >= 4
    title = f"LOAD % over {'' if with_time_line else duration(axes.end_s) + ' '}{clock_name}"
    rows += not with_time_line
    marks = points if by_weighing else ()
    drawn = chart.draw(points, axes, width, rows, marks=marks)
    body = [line((each, BLUE)) for each in drawn]
    below = [line((chart.time_line(axes, width), DIM))] if with_time_line else []
    return [line((title, TITLE)), *body, *below]


def _weighed_points(run: RunView) -> list[Point]:
    return [(each.effective_s, each.load_pct) for each in run.weighings]


def _points(times: list[float], values: list[float | None]) -> list[Point]:
    return [(t_s, value) for t_s, value in zip(times, values, strict=True) if value is not None and t_s >= 0]


def _axes(points: list[Point]) -> Axes:
    values = [value for _, value in points]
    top = max([100.0, *values]) if not values else max(values)
    bottom = min(values, default=0.0)
    bottom, top = _nice(bottom, top)
    return Axes(0.0, max([60.0, *(t_s for t_s, _ in points)]), bottom, top)


def _nice(low: float, high: float) -> tuple[float, float]:
    """Edges on full tens (or full units when the range is small)."""
    step = 10.0 if high - low > 10 else 1.0
    return (low // step) * step, -((-high) // step) * step if high > low else low // step * step + step


def _pressure(board: Board, width: int, rows: int) -> list[Content]:
    view: PressureView = board.snapshot.pressure
    if rows < 2:
        return []
    points = _points(board.trace.t_s, board.trace.dp_pa)
    high = view.high_pa or 1000.0
    axes = Axes(0.0, max([60.0, *(t_s for t_s, _ in points)]), 0.0, high * 1.25)
    rules = [edge for edge in (view.low_pa, view.high_pa) if edge is not None]
    drawn = chart.draw(points, axes, width, rows, rules=rules)
    return [line(("PRESSURE Pa", TITLE), ("  dotted: band", DIM)), *(line((each, BLUE)) for each in drawn)]
