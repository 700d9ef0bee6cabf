"""The chart of one run: load and loss rate on logarithmic axes, pressure with its band, events marked."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from logger.report.run_curves import RunCurves
from logger.report.svg import (
    BLUE,
    GREEN,
    INK,
    ORANGE,
    RED,
    SOFT,
    Axis,
    box,
    drawing,
    line,
    number,
    path,
    text,
    time_ticks,
    upright,
)
from logger.report.texts import Texts

WIDTH, HEIGHT = 700.0, 384.0
_LEFT, _RIGHT = 58.0, 10.0
_LOAD, _RATE, _PRESSURE = (24.0, 132.0), (144.0, 272.0), (284.0, 346.0)
_LEAST_LOAD_PCT, _LEAST_RATE = 0.01, 0.001
"""Below these a logarithmic axis shows nothing worth reading."""
_BAND = 'fill-opacity="0.16"'
_THICK = 'stroke-width="1.6" stroke-linejoin="round"'


@dataclass(frozen=True, slots=True)
class Mark:
    """An event on the chart by its letter, s since suction was first seen on."""

    letter: str
    at_s: float
    alarming: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartLimits:
    """What the curves are held against: the rate's limit and how far above it (times margin) two standard
    errors may reach; nominal pressure and half-width of its band; the decision with its standard error."""

    limit_pct_per_min: float | None
    margin: float
    dp_pa: float
    band_pa: float
    decided_at_s: float | None = None
    decided_rate: float | None = None
    decided_u: float | None = None


def run_chart(curves: RunCurves, limits: ChartLimits, marks: Sequence[Mark], t: Texts) -> str:
    """The drawing as SVG text."""
    x = Axis(0.0, 1.015 * max(curves.end_s, 1.0), _LEFT, WIDTH - _RIGHT)
    parts = [
        *_times(x, t),
        *_load(curves, x, t),
        *_rate(curves, limits, x, t),
        *_pressure(curves, limits, x, t),
        *_marks(marks, x),
    ]
    return drawing(WIDTH, HEIGHT, parts)


def _times(x: Axis, t: Texts) -> Iterator[str]:
    minutes = x.high > 180
    for at_s in time_ticks(x.high):
        place = x(at_s)
        for top, bottom in (_LOAD, _RATE, _PRESSURE):
            yield line(place, top, place, bottom)
        yield text(place, _PRESSURE[1] + 14, t.short(at_s / 60 if minutes else at_s), "middle")
    unit = t("chart.minutes") if minutes else t("chart.seconds")
    yield text((x.start + x.end) / 2, HEIGHT - 8, unit, "middle")


def _frame(
    panel: tuple[float, float], y: Axis, x: Axis, label: str, t: Texts, ticks: Sequence[float]
) -> Iterator[str]:
    for tick in ticks:
        yield line(x.start, y(tick), x.end, y(tick))
        yield text(x.start - 5, y(tick) + 3.6, t.short(tick), "end")
    top, bottom = panel
    yield box(x.start, top, x.end - x.start, bottom - top, "none", f'stroke="{SOFT}"')
    yield upright(13, (top + bottom) / 2, label)


def _load(curves: RunCurves, x: Axis, t: Texts) -> Iterator[str]:
    values = [v for piece in curves.loads for _, v in piece] + [v for _, v in curves.weighings]
    low = max(_LEAST_LOAD_PCT, min(values, default=1.0))
    y = Axis(low / 1.3, 110.0, _LOAD[1], _LOAD[0], log=True)
    yield from _frame(_LOAD, y, x, t("chart.load"), t, y.ticks(6))
    for piece in curves.loads:
        yield path([(x(s), y(v)) for s, v in piece], BLUE, _THICK)
    if not curves.live:
        yield path(
            [(x(s), y(v)) for s, v in curves.weighings], BLUE, 'stroke-width="1" stroke-dasharray="4 3"'
        )
    for at_s, value in curves.weighings:
        yield f'<circle cx="{number(x(at_s))}" cy="{number(y(value))}" r="3.2" fill="{BLUE}"/>'


def _rate(curves: RunCurves, limits: ChartLimits, x: Axis, t: Texts) -> Iterator[str]:
    shown = [rate for rate in curves.rates if rate.pct_per_min > _LEAST_RATE]
    values = [rate.pct_per_min for rate in shown]
    limit = limits.limit_pct_per_min
    if limit is not None:
        values += [limit / 2, limit * limits.margin]
    if not values:
        values = [_LEAST_RATE, 1.0]
    y = Axis(min(values) / 1.4, max(values) * 1.4, _RATE[1], _RATE[0], log=True)
    if limit is not None:
        top, bottom = y(limit * limits.margin), y(limit)
        yield box(x.start, top, x.end - x.start, bottom - top, ORANGE, _BAND)
    yield from _frame(_RATE, y, x, t("chart.rate"), t, y.ticks(7))
    if limit is not None:
        yield line(x.start, y(limit), x.end, y(limit), ORANGE, 'stroke-width="1.4" stroke-dasharray="7 3"')
        label = t("chart.limit", value=t.short(limit))
        yield text(x.start + 5, y(limit) + 11, label, "start", f'fill="{ORANGE}"')
    if curves.live:
        yield path([(x(rate.from_s), y(rate.pct_per_min)) for rate in shown], GREEN, _THICK)
    else:
        for rate in shown:
            height = y(rate.pct_per_min)
            yield line(x(rate.from_s), height, x(rate.to_s), height, GREEN, 'stroke-width="2.2"')
    yield from _decision(limits, x, y)


def _decision(limits: ChartLimits, x: Axis, y: Axis) -> Iterator[str]:
    """The decision's own figure: a ring, with a bar of two standard errors."""
    rate, at_s = limits.decided_rate, limits.decided_at_s
    if rate is None or at_s is None or rate <= 0:
        return
    place, spread = x(at_s), 2 * (limits.decided_u or 0.0)
    yield line(place, y(max(_LEAST_RATE, rate - spread)), place, y(rate + spread), INK, 'stroke-width="1.4"')
    ring = f'r="4" fill="#ffffff" stroke="{INK}" stroke-width="1.6"'
    yield f'<circle cx="{number(place)}" cy="{number(y(rate))}" {ring}/>'


def _pressure(curves: RunCurves, limits: ChartLimits, x: Axis, t: Texts) -> Iterator[str]:
    highest = max((v for piece in curves.pressures for _, v in piece), default=0.0)
    top_kpa = max(highest, limits.dp_pa + 1.6 * limits.band_pa) / 1000 * 1.05
    y = Axis(0.0, top_kpa, _PRESSURE[1], _PRESSURE[0])
    low, high = (y((limits.dp_pa + side * limits.band_pa) / 1000) for side in (-1, 1))
    yield box(x.start, high, x.end - x.start, low - high, BLUE, _BAND)
    yield from _frame(_PRESSURE, y, x, t("chart.pressure"), t, y.ticks(3))
    for piece in curves.pressures:
        yield path([(x(s), y(v / 1000)) for s, v in piece], INK, 'stroke-width="1"')


def _marks(marks: Sequence[Mark], x: Axis) -> Iterator[str]:
    """Letters above, in two rows where they would touch; every mark keeps its line."""
    last = [float("-inf"), float("-inf")]
    for mark in marks:
        if not 0 <= mark.at_s <= x.high:
            continue
        place, colour = x(mark.at_s), RED if mark.alarming else SOFT
        yield line(place, _LOAD[0], place, _PRESSURE[1], colour, 'stroke-dasharray="1 3"')
        row = next((i for i, before in enumerate(last) if place - before >= 9), None)
        if row is not None:
            last[row] = place
            yield text(place, _LOAD[0] - 4 - 10 * row, mark.letter, "middle", f'fill="{colour}"')
