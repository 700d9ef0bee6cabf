"""A reference powder's control chart: points against centre, warning and action limits, each signal as a word."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from textual.content import Content

from logger.console.answers import dict_of, dicts_of, list_of, number_of, text_of, whole_of
from logger.console.literal import fit
from logger.console.panels.ink import BAD, BLUE, DIM, ORANGE, STRONG, TITLE, line, page, paragraph

LABEL_CELLS = 8
SIGNS = {"none": "●", "warning": "▲", "action": "■"}
LEGEND = "● in control   ▲ warning   ■ action   ┄ action limits   · warning limits   ─ centre"


def control(chart: Mapping[str, Any], width: int, height: int) -> Content:
    """The chart over the newest checks, then what signals, newest first."""
    points, limits = dicts_of(chart.get("points")), dict_of(chart.get("limits"))
    head = [line((fit(_title(chart, len(points)), width), TITLE))]
    if limits:
        words = (
            f"centre {_figure(limits.get('centre_pct'))} %, s {_figure(limits.get('sd_pct'))} % from the first "
            f"{whole_of(chart.get('start'))} checks; certified {_figure(chart.get('certified_pct'))} %"
        )
        head += paragraph(words, width, DIM)
    else:
        head += paragraph(text_of(chart.get("why")), width, BAD)
    told = _signals(points, width)
    rows = max(5, min(15, height - len(head) - 3 - min(len(told), 4)))
    drawn = _draw(points[-max(4, (width - LABEL_CELLS) // 2) :], limits, rows)
    return page([*head, *drawn, *paragraph(LEGEND, width, DIM), *told])


def _title(chart: Mapping[str, Any], count: int) -> str:
    sieve, powder = text_of(chart.get("sieve_id"), 64), text_of(chart.get("certificate"), 64)
    return f"SIEVE {sieve} · REFERENCE POWDER {powder} · {count} checks"


def _figure(value: Any) -> str:
    number = number_of(value)
    return "–" if number is None else f"{number:.3f}"


def _signals(points: list[dict[str, Any]], width: int) -> list[Content]:
    lines: list[Content] = []
    for point in reversed(points):
        word = text_of(point.get("signal"), 10)
        if word in ("warning", "action"):
            when, why = text_of(point.get("checked_on"), 12), text_of(point.get("reason"))
            style = BAD if word == "action" else STRONG
            lines += paragraph(
                f"{SIGNS[word]} {when}  {_figure(point.get('value_pct'))} %  {word}: {why}", width, style
            )
    return lines


def _draw(points: list[dict[str, Any]], limits: Mapping[str, Any], rows: int) -> list[Content]:
    """Two cells a point, the oldest at the left, with dates at both ends."""
    values = [value for point in points if (value := number_of(point.get("value_pct"))) is not None]
    lines = _levels(limits)
    known = [*values, *(value for value, _ in lines)]
    if not values:
        return [line(("no check yet", DIM))]
    low, high = min(known), max(known)
    low, high = (low, high) if high > low else (low - 0.5, high + 0.5)
    grid = [[" "] * (2 * len(points)) for _ in range(rows)]
    labels: dict[int, float] = {0: high, rows - 1: low}
    for value, sign in lines:
        row = _row(value, low, high, rows)
        grid[row] = [sign if cell == " " else cell for cell in grid[row]]
        labels[row] = value
    for at, point in enumerate(points):
        value = number_of(point.get("value_pct"))
        if value is not None:
            grid[_row(value, low, high, rows)][2 * at] = SIGNS.get(text_of(point.get("signal"), 10), "●")
    drawn = [_inked(labels.get(at), "".join(row)) for at, row in enumerate(grid)]
    first, last = (text_of(points[at].get("checked_on"), 12) for at in (0, -1))
    gap = max(1, 2 * len(points) - len(first) - len(last))
    return [*drawn, line((" " * LABEL_CELLS + first + " " * gap + last, DIM))]


def _levels(limits: Mapping[str, Any]) -> list[tuple[float, str]]:
    asked: list[tuple[Any, str]] = [(limits.get("centre_pct"), "─")]
    asked += [(value, "·") for value in list_of(limits.get("warning_pct"))]
    asked += [(value, "┄") for value in list_of(limits.get("action_pct"))]
    return [(value, sign) for each, sign in asked if (value := number_of(each)) is not None]


def _row(value: float, low: float, high: float, rows: int) -> int:
    return round((high - value) / (high - low) * (rows - 1))


def _inked(label: float | None, row: str) -> Content:
    """Label, then the row with its signals set off."""
    shown = ("" if label is None else f"{label:.2f}").rjust(LABEL_CELLS - 2)
    pieces = [(shown + ("┤ " if label is not None else "│ "), DIM)]
    for char in row.rstrip():
        style = ORANGE if char in "▲■" else BLUE if char == "●" else DIM
        if pieces[-1][1] == style:
            pieces[-1] = (pieces[-1][0] + char, style)
        else:
            pieces.append((char, style))
    return line(*pieces)
