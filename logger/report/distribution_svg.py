"""A distribution as a drawing (SVG) on the usual axes: passing over the logarithm of aperture.

`plain` has passing straight up; on a family's paper the ordinate is stretched so that a powder of that
family lies on a straight line. Points carry bars of two standard uncertainties. What has no place on the
paper is named below it. The same input gives the same bytes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from logger.core.distribution.families import FAMILIES
from logger.core.distribution.fits import Fit
from logger.core.distribution.interpolation import Axes
from logger.core.distribution.points import SievePoint
from logger.report.svg import FONT
from logger.report.texts import Texts, texts

WIDTH, HEIGHT = 640, 470
_LEFT, _RIGHT, _TOP, _BOTTOM = 64, 20, 24, 116
_INK, _GRID = "#222222", "#d0d0d0"
_POINT = "#0072B2"
_CURVES = ("#E69F00", "#009E73", "#CC79A7")
_DASHES = ("none", "7 4", "2 3")
_PAPER_TICKS = (0.1, 1, 5, 10, 20, 30, 50, 70, 80, 90, 95, 99, 99.9)
_PLAIN_TICKS = (0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
_STEPS = 120


@dataclass(frozen=True, slots=True)
class _Frame:
    """Maps aperture in µm and passing in % to the drawing."""

    low_x: float
    high_x: float
    low_y: float
    high_y: float
    ordinate: Callable[[float], float]

    def x(self, aperture_um: float) -> float:
        share = (math.log(aperture_um) - self.low_x) / (self.high_x - self.low_x)
        return _LEFT + share * (WIDTH - _LEFT - _RIGHT)

    def y(self, passing_pct: float) -> float:
        share = (self.ordinate(passing_pct) - self.low_y) / (self.high_y - self.low_y)
        return HEIGHT - _BOTTOM - min(1.0, max(0.0, share)) * (HEIGHT - _TOP - _BOTTOM)


def distribution_svg(
    points: Sequence[SievePoint], fits: Sequence[Fit] = (), axes: Axes = "plain", title: str = ""
) -> str:
    """The drawing as a file of its own, with up to three fits.

    Raises ValueError without a point that has a place on the axes, or with more fits.
    """
    head, _, rest = distribution_drawing(points, fits, axes, texts("en")).partition(">")
    named = escape(title or "Particle size distribution")
    return f'{head} role="img">\n<title>{named}</title>{rest}\n'


def distribution_drawing(points: Sequence[SievePoint], fits: Sequence[Fit], axes: Axes, t: Texts) -> str:
    """The same without a name, for a report that names it. Raises ValueError likewise."""
    if len(fits) > len(_CURVES):
        raise ValueError(f"at most {len(_CURVES)} fits can be told apart in one drawing")
    shown = [p for p in points if axes == "plain" or 0 < p.residue_pct < 100]
    if not shown:
        raise ValueError("no point has a place on these axes: use plain axes")
    frame, ticks = _frame(shown, axes)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'font-family="{FONT}" font-size="12" fill="{_INK}">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#ffffff"/>',
        *_grid(frame, shown, ticks, axes, t),
        *(line for i, fitted in enumerate(fits) for line in _curve(frame, fitted, i, t)),
        *(line for point in shown for line in _point(frame, point)),
        *_left_out(points, shown, t),
        "</svg>",
    ]
    return "\n".join(parts)


def _ordinate(axes: Axes) -> Callable[[float], float]:
    if axes == "plain":
        return lambda passing_pct: passing_pct
    family = FAMILIES[axes]
    return lambda passing_pct: family.ordinate(min(1 - 1e-9, max(1e-9, 1 - passing_pct / 100)))


def _frame(shown: Sequence[SievePoint], axes: Axes) -> tuple[_Frame, list[float]]:
    low_x, high_x = math.log(shown[0].aperture_um), math.log(shown[-1].aperture_um)
    margin = 0.08 * (high_x - low_x) or 0.5
    ordinate = _ordinate(axes)
    if axes == "plain":
        ticks: list[float] = list(_PLAIN_TICKS)
    else:
        low, high = min(p.passing_pct for p in shown), max(p.passing_pct for p in shown)
        below = max((t for t in _PAPER_TICKS if t <= low), default=low / 2)
        above = min((t for t in _PAPER_TICKS if t >= high), default=(100 + high) / 2)
        ticks = [t for t in _PAPER_TICKS if below <= t <= above]
        ticks = sorted({below, *ticks, above})
    return _Frame(low_x - margin, high_x + margin, ordinate(ticks[0]), ordinate(ticks[-1]), ordinate), ticks


def _grid(
    frame: _Frame, shown: Sequence[SievePoint], ticks: Sequence[float], axes: Axes, t: Texts
) -> list[str]:
    lines: list[str] = []
    right, bottom = WIDTH - _RIGHT, HEIGHT - _BOTTOM
    for tick in ticks:
        y = frame.y(tick)
        lines.append(f'<line x1="{_LEFT}" y1="{y:.1f}" x2="{right}" y2="{y:.1f}" stroke="{_GRID}"/>')
        lines.append(f'<text x="{_LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{t.short(tick, 4)}</text>')
    for point in shown:
        x = frame.x(point.aperture_um)
        lines.append(f'<line x1="{x:.1f}" y1="{_TOP}" x2="{x:.1f}" y2="{bottom}" stroke="{_GRID}"/>')
        lines.append(
            f'<text x="{x:.1f}" y="{bottom + 16}" text-anchor="middle">{t.short(point.aperture_um)}</text>'
        )
    paper = "" if axes == "plain" else t("distribution.paper", family=FAMILIES[axes].short)
    middle = (_TOP + bottom) / 2
    lines.append(
        f'<text x="{(_LEFT + right) / 2:.1f}" y="{bottom + 34}" text-anchor="middle">'
        f"{escape(t('distribution.axis_x'))}</text>"
    )
    lines.append(
        f'<text transform="translate(16 {middle:.1f}) rotate(-90)" text-anchor="middle">'
        f"{escape(t('distribution.axis_y') + paper)}</text>"
    )
    return lines


def _curve(frame: _Frame, fitted: Fit, number: int, t: Texts) -> list[str]:
    colour, dash = _CURVES[number % len(_CURVES)], _DASHES[number % len(_DASHES)]
    sizes = [math.exp(frame.low_x + i / _STEPS * (frame.high_x - frame.low_x)) for i in range(_STEPS + 1)]
    inside = [(d, fitted.curve.passing_pct(d)) for d in sizes]
    path = " ".join(
        f"{frame.x(d):.1f},{frame.y(q):.1f}"
        for d, q in inside
        if frame.low_y <= frame.ordinate(q) <= frame.high_y
    )
    x, y = _LEFT, HEIGHT - _BOTTOM + 52 + 17 * number
    return [
        f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2" stroke-dasharray="{dash}"/>',
        f'<line x1="{x}" y1="{y - 4}" x2="{x + 26}" y2="{y - 4}" stroke="{colour}" stroke-width="2" '
        f'stroke-dasharray="{dash}"/>',
        f'<text x="{x + 32}" y="{y}" font-size="11">{escape(_legend(fitted, t))}</text>',
    ]


def _legend(fitted: Fit, t: Texts) -> str:
    curve, (name, shape) = fitted.curve, fitted.curve.named_shape
    family, scale_um = curve.family, t.fixed(curve.scale_um, 1)
    return (
        f"{family.short}: {family.scale_name} = {scale_um} µm, {name} = {t.fixed(shape, 3)} "
        f"({t.word('way', fitted.way)})"
    )


def _point(frame: _Frame, point: SievePoint) -> list[str]:
    x, y = frame.x(point.aperture_um), frame.y(point.passing_pct)
    low, high = (frame.y(point.passing_pct + side * 2 * point.u_pct) for side in (-1, 1))
    return [
        f'<line x1="{x:.1f}" y1="{low:.1f}" x2="{x:.1f}" y2="{high:.1f}" stroke="{_POINT}" stroke-width="2"/>',
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{_POINT}"/>',
    ]


def _left_out(points: Sequence[SievePoint], shown: Sequence[SievePoint], t: Texts) -> list[str]:
    missing = [
        t("distribution.left_out_point", aperture=t.short(p.aperture_um), residue=t.short(p.residue_pct))
        for p in points
        if p not in shown
    ]
    if not missing:
        return []
    text = escape(t("distribution.left_out", points=", ".join(missing)))
    return [f'<text x="{_LEFT}" y="{HEIGHT - 10}" font-size="11">{text}</text>']
