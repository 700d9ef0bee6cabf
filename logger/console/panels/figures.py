"""The three figures that are watched: mass, loss rate (or the result), pressure."""

from __future__ import annotations

from textual.content import Content

from logger.console.bigtext import FIGURE_FACES, big_lines
from logger.console.gauge import band_gauge
from logger.console.literal import literal
from logger.console.panels.board import Board
from logger.console.panels.ink import BAD, DIM, GOOD, STRONG, TITLE, line, page, paragraph
from logger.console.words import (
    DECISION_WORDS,
    NOTHING,
    band,
    decimals_for,
    forecast,
    mass_figure,
    mass_mark,
    pressure_figure,
    pressure_word,
    rate_word,
    with_uncertainty,
)
from logger.core.run.instruct import LID_UNKNOWN
from logger.core.snapshot import PressureView, RateView, ResultView, RunView

DECISION_MARKS = {"accept": "●", "inconclusive": "◆", "reject": "■"}
OLD = "◌ NOT LIVE"
"""Beside a figure of a service that does not answer: the last one stays, and may be read as nothing more."""
UNREAD = "◌ NOT READ"
"""Beside the rate of a live run whose balance gives no reading: it is the one of the last reading."""


def mass(board: Board, width: int, height: int) -> Content:
    """What the balance shows, big, with the stable mark as shape and word."""
    view = board.snapshot.mass
    figure = mass_figure(view)
    mark = mass_mark(view) if board.answering else OLD
    good = board.answering and view.stable and view.value_g is not None
    head = line(("MASS", TITLE), "  ", (mark, GOOD if good else _tone(mark)))
    style = STRONG if good else ""
    big = big_lines(figure, width - 2, height - 2, FIGURE_FACES) if view.value_g is not None else []
    rows = [line((each, style)) for each in big[:-1]]
    rows.append(line((big[-1] if big else figure, style), " g"))
    return page([head, *rows, *_load(board)][:height])


def _tone(word: str) -> str:
    """Orange is for what needs a person: not for a mass that moves or a suction that is off."""
    return "" if word[:1] in ("~", "○", "◌") else BAD


def _load(board: Board) -> list[Content]:
    run = board.snapshot.run
    if run is None:
        return []
    if run.load_g is None:
        target = f"charge wanted {run.charge_target_g:g} g ± {run.charge_tolerance_g:g} g"
        return [line((target if run.charge_g is None else f"charge {run.charge_g:g} g", DIM))]
    share = "" if run.load_pct is None else f" = {run.load_pct:.2f} %"
    return [line("load ", (f"{run.load_g:.{board.snapshot.mass.decimals}f} g{share}", STRONG))]


def rate_or_result(board: Board, width: int, height: int) -> Content:
    """The loss rate against its limit, or the result once there is one."""
    run = board.snapshot.run
    if run is None:
        return page([line(("LOSS RATE", TITLE)), line((NOTHING, DIM))])
    if run.result is not None:
        return _result(run.result, width, height)
    return _rate(run.rate, _why_old(board, run), width, height)


def _why_old(board: Board, run: RunView) -> str:
    """Why the rate is not one of now; empty when it is."""
    if not board.answering:
        return OLD
    read_live = run.mode == "live" and run.rate.rate_pct_per_min is not None
    return UNREAD if read_live and board.snapshot.mass.value_g is None else ""


def _rate(rate: RateView, old: str, width: int, height: int) -> Content:
    word = old or rate_word(rate)
    title = "LOSS RATE" if width >= 11 + len(word) else "RATE"
    head = line((title, TITLE), "  ", (word, GOOD if word.startswith("▼") else STRONG))
    lines = _figure(rate.rate_pct_per_min, rate.rate_u_pct_per_min, " %/min", width, height - 3)
    limit = "no limit" if rate.limit_pct_per_min is None else f"limit {rate.limit_pct_per_min:g} %/min"
    if rate.rate_u_pct_per_min is not None and width >= 30:
        limit += " (± at k = 1)"
    lines += paragraph(limit, width)
    lines += paragraph("" if old else forecast(rate), width, STRONG)
    # What is still open stands below, on every size: it is not said twice.
    return _with_room(head, lines, "" if rate.open_conditions else literal(rate.text, 200), width, height)


def _result(result: ResultView, width: int, height: int) -> Content:
    outcome = literal(result.outcome.replace("-", " ").upper(), 20)
    head = line(("RESIDUE", TITLE), "  ", (outcome, GOOD if result.outcome == "endpoint" else BAD))
    lines = _figure(result.residue_pct, result.residue_u_pct, " %", width, height - 3)
    places = decimals_for(result.residue_u_pct)
    passing = NOTHING if result.passing_pct is None else f"{result.passing_pct:.{places}f}"
    lines += _decision(result, width)
    lines += paragraph(f"passing {passing} %{' (± at k = 1)' if width >= 30 else ''}", width)
    return page([head, *lines][:height])


def _decision(result: ResultView, width: int) -> list[Content]:
    """Against the specification, and by which limit, right below the figure; on one row where it fits."""
    if result.residue_pct is None or not result.decided:
        return []
    decided = literal(result.decided, 60)
    if not result.decision:
        return paragraph(f"no decision: {decided}", width, DIM)
    word = f"{DECISION_MARKS[result.decision]} {DECISION_WORDS[result.decision].upper()}"
    style = GOOD if result.decision == "accept" else BAD
    if len(word) + 2 + len(decided) <= width:
        return [line((word, style), f"  {decided}")]
    return [line((word, style)), *paragraph(decided, width)]


def _figure(value: float | None, u: float | None, unit: str, width: int, rows: int) -> list[Content]:
    """Value with uncertainty; the value big where there is room for it."""
    whole = f"{with_uncertainty(value, u)}{unit}"
    if value is None or rows < 4:
        return [line((whole if value is not None else NOTHING, STRONG))]
    places = decimals_for(u)
    big = big_lines(f"{value:.{places}f}", width - 6, rows - 1, FIGURE_FACES)
    return [*(line((each, STRONG)) for each in big), line((whole, STRONG))]


def _with_room(head: Content, lines: list[Content], text: str, width: int, height: int) -> Content:
    """The text below, when all of it fits."""
    more = paragraph(text, width, DIM)
    room = height - 1 - len(lines)
    return page([head, *lines, *(more if len(more) <= room else [])])


def pressure(board: Board, width: int, height: int) -> Content:
    """Pressure with its band as a gauge and in words. The lid's sentence is never left out."""
    view = board.snapshot.pressure
    word = pressure_word(view) if board.answering else OLD
    lid = paragraph(literal(view.lid if board.answering else LID_UNKNOWN, 200), width, STRONG)
    room = height - 1 - len(lid)
    style = GOOD if view.in_band and board.answering else _tone(word)
    head = line(("PRESSURE", TITLE), "  ", (word, style))
    lines = _pressure_figure(view, width, room)
    return page([head, *lines[: max(0, room)], *lid][:height])


def _pressure_figure(view: PressureView, width: int, rows: int) -> list[Content]:
    """Figure, gauge, band: as big as the rows allow."""
    figure = pressure_figure(view)
    if view.low_pa is None or view.high_pa is None:
        return _big_pressure(view, width, rows)
    gauge = line((band_gauge(view.dp_pa, view.low_pa, view.high_pa, width), STRONG))
    if rows < 5:
        return [line((figure, STRONG), (f"  ({view.low_pa:.0f} to {view.high_pa:.0f})", DIM)), gauge]
    return [*_big_pressure(view, width, rows - 2), gauge, line(band(view))]


def _big_pressure(view: PressureView, width: int, rows: int) -> list[Content]:
    big = [] if view.dp_pa is None else big_lines(f"{view.dp_pa:z.0f}", width - 3, rows, FIGURE_FACES)
    if not big:
        return [line((pressure_figure(view), STRONG))]
    return [*(line((each, STRONG)) for each in big[:-1]), line((big[-1], STRONG), " Pa")]
