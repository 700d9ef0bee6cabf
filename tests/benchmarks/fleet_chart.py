"""The chart of docs/fleet.md: cost of a message against benches and backlog, as an SVG drawing of our own."""

from __future__ import annotations

from collections.abc import Sequence
from math import log10
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.benchmarks.fleet import Cost

WIDTH, HEIGHT, LEFT, TOP, PANEL = 760, 300, 60, 40, 290
# Okabe and Ito's colours, told apart by the colour-blind; each line has its mark and its word as well.
LINES = (
    ("bench_ms", "benches", "#0072B2"),
    ("broker_ms", "broker", "#009E73"),
    ("sink_ms", "sink", "#E69F00"),
)


def chart(costs: Sequence[Cost]) -> str:
    """Two panels with one scale of ms a message."""
    first = costs[0].runs_each
    many = [cost for cost in costs if cost.runs_each == first]
    long = [cost for cost in costs if cost.benches == 1]
    top = max(getattr(cost, name) for cost in costs for name, _, _ in LINES) * 1.15
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" '
        'font-size="12" fill="#222">',
        f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
        *_panel(0, "benches, each with the same backlog", [(cost.benches, cost) for cost in many], top),
        *_panel(1, "messages in the backlog of one bench", [(cost.messages, cost) for cost in long], top),
        '<text x="8" y="18">CPU, ms a message (whole processes, one shared two-core machine)</text>',
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _panel(place: int, title: str, points: list[tuple[int, Cost]], top: float) -> list[str]:
    left, bottom = LEFT + place * (PANEL + 60), HEIGHT - 50
    low, high = log10(points[0][0]), log10(points[-1][0])
    width, height = PANEL - 40, bottom - TOP

    def at(x: float, y: float) -> tuple[float, float]:
        return left + width * (log10(x) - low) / (high - low), bottom - height * y / top

    parts = [
        f'<path d="M{left} {TOP}V{bottom}H{left + width}" fill="none" stroke="#444"/>',
        f'<text x="{left + width / 2}" y="{HEIGHT - 12}" text-anchor="middle">{title}</text>',
    ]
    for step in range(5):
        value = top * step / 4
        x, y = at(points[0][0], value)
        parts.append(f'<text x="{x - 6:.1f}" y="{y + 4:.1f}" text-anchor="end">{value:.1f}</text>')
    for value, _ in points:
        x, _ = at(value, 0)
        parts.append(f'<text x="{x:.1f}" y="{bottom + 16}" text-anchor="middle">{value}</text>')
    for name, word, colour in LINES:
        places = [at(x, getattr(cost, name)) for x, cost in points]
        line = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
        parts.append(f'<polyline points="{line}" fill="none" stroke="{colour}" stroke-width="2"/>')
        parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{colour}"/>' for x, y in places]
        parts.append(
            f'<text x="{places[-1][0] + 8:.1f}" y="{places[-1][1] + 4:.1f}" fill="{colour}">{word}</text>'
        )
    return parts
