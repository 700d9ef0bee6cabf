"""Charts of the pages that explain: where rules stop on one made-up run, and what an uncertainty is made of.

Written by `python -m tests.write_docs`; the same source gives the same bytes.
"""

from __future__ import annotations

from logger.core.baselines import MinuteRule
from logger.core.endpoint.estimator import LossRateEstimator
from logger.core.record import ChainHead, build_record
from logger.report.svg import (
    BLUE,
    GREEN,
    INK,
    ORANGE,
    RED,
    Axis,
    box,
    drawing,
    line,
    number,
    path,
    text,
    upright,
)
from tests.endpoint_traces import MadeRun, make_run
from tests.store.quick_runs import real_run

SEED = 1_300_078
"""A run without troubles on which the literal rule stops at 1.7 times its limit; it does so in about one of four."""
WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 720.0, 330.0, 60.0, 20.0, 24.0, 46.0
BAND = "#cfe3f2"


def endpoint_chart() -> str:
    """docs/images/endpoint.svg: rate by time on a logarithmic axis with band, limit, truth and two stops."""
    run = make_run(SEED)
    limit = run.endpoint.limit_pct_per_min or 0.0
    seen, stop_s, minute_s = _followed(run, limit)
    last_s = 1.25 * max(filter(None, (run.crossing_s, stop_s, minute_s)))
    x = Axis(0.0, last_s, LEFT, WIDTH - RIGHT)
    y = Axis(limit / 3, limit * 30, HEIGHT - BOTTOM, TOP, log=True)
    truth = [(x(t), y(rate)) for t, rate in zip(run.true_t_s, run.true_rate, strict=True) if 20 < t < last_s]
    shown = [each for each in seen if each[0] <= last_s and each[1] > 0]
    upper = [(x(t), y(rate + 2 * u)) for t, rate, u in shown]
    lower = [(x(t), y(max(rate - 2 * u, limit / 9))) for t, rate, u in shown]
    band = " ".join(f"{number(px)},{number(py)}" for px, py in [*upper, *reversed(lower)])
    parts = [
        box(0, 0, WIDTH, HEIGHT, "#ffffff"),
        f'<polygon points="{band}" fill="{BAND}"/>',
        *_axes(x, y),
        line(LEFT, y(limit), WIDTH - RIGHT, y(limit), ORANGE, 'stroke-width="1.5"'),
        text(LEFT + 6, y(limit) - 4, f"limit {limit:.2g} %/min", more=f'fill="{ORANGE}"'),
        line(LEFT, y(1.25 * limit), WIDTH - RIGHT, y(1.25 * limit), ORANGE, 'stroke-dasharray="4 3"'),
        path(truth, INK, 'stroke-width="1.2" stroke-dasharray="2 3"'),
        path([(x(t), y(rate)) for t, rate, _ in shown], BLUE, 'stroke-width="1.5"'),
        *_stop(x, minute_s, "difference over a minute", RED, TOP + 40),
        *_stop(x, stop_s, "Lastgrain", GREEN, TOP + 58),
        *_stop(x, run.crossing_s, "true crossing", INK, TOP + 76),
        text(
            WIDTH - RIGHT, TOP - 8, "line: estimate, shade: ± 2 u, dots: truth, dashes: 1.25 x limit", "end"
        ),
    ]
    return drawing(WIDTH, HEIGHT, parts) + "\n"


def _followed(
    run: MadeRun, limit: float
) -> tuple[list[tuple[float, float, float]], float | None, float | None]:
    """Estimates (s, %/min, standard error), and where the rule and the literal one stop."""
    live = LossRateEstimator(run.endpoint, run.suction, run.weighing, run.rig, run.charge_g)
    literal = MinuteRule(run.charge_g, limit, run.endpoint.min_time_s)
    seen: list[tuple[float, float, float]] = []
    stop_s: float | None = None
    for t_s, mass_g, dp_pa in zip(run.t_s.tolist(), run.mass_g.tolist(), run.dp_pa.tolist(), strict=True):
        live.add(t_s, mass_g if mass_g == mass_g else None, dp_pa if dp_pa == dp_pa else None)
        if stop_s is None and live.stopped:
            stop_s = t_s
        if mass_g == mass_g and t_s >= 0:
            literal.add(t_s, mass_g)
        if live.rate is not None and (not seen or t_s - seen[-1][0] > 2):
            seen.append((t_s, *live.rate))
    return seen, stop_s, literal.stop_s


def _stop(x: Axis, at_s: float | None, words: str, colour: str, height: float) -> list[str]:
    if at_s is None:
        return []
    return [
        line(x(at_s), height - 8, x(at_s), HEIGHT - BOTTOM, colour, 'stroke-width="1.2"'),
        text(x(at_s) - 4, height, f"{words}, {at_s:.0f} s", "end", f'fill="{colour}"'),
    ]


def _axes(x: Axis, y: Axis) -> list[str]:
    parts = [line(LEFT, y(tick), WIDTH - RIGHT, y(tick)) for tick in y.ticks()]
    parts += [text(LEFT - 6, y(tick) + 4, f"{tick:g}", "end") for tick in y.ticks()]
    parts += [text(x(tick), HEIGHT - BOTTOM + 16, f"{tick:g}", "middle") for tick in x.ticks(8)]
    parts.append(
        text((LEFT + WIDTH - RIGHT) / 2, HEIGHT - 10, "seconds since suction was first on", "middle")
    )
    return [*parts, upright(16, HEIGHT / 2, "loss rate, % of the charge per minute")]


def uncertainty_chart() -> str:
    """docs/images/uncertainty.svg: standard uncertainties of the demo run, % of the charge, as bars."""
    run = real_run()
    body = build_record(run.run_id, run.facts, ChainHead(1, "0" * 64)).body()
    budget = body["assessment"]["budget"]
    rows = [(each["name"], each["contribution_pct"]) for each in budget["components"]]
    rows += [
        ("together, u", budget["u_pct"]),
        (f"expanded, U (k = {budget['k']:.2f})", budget["expanded_u_pct"]),
    ]
    height = TOP + 24 * len(rows) + 30
    x = Axis(0.0, 1.1 * rows[-1][1], 230.0, WIDTH - 70)
    parts = [box(0, 0, WIDTH, height, "#ffffff"), line(230, TOP - 6, 230, height - 30, INK)]
    for place, (name, pct) in enumerate(rows):
        top = TOP + 24 * place
        parts.append(text(222, top + 12, name, "end"))
        parts.append(box(230, top, x(pct) - 230, 16, GREEN if place >= len(rows) - 2 else BLUE))
        parts.append(text(x(pct) + 6, top + 12, f"{pct:.2g} %"))
    parts.append(text(WIDTH / 2, height - 8, "% of the charge; demo run, one determination", "middle"))
    return drawing(WIDTH, height, parts) + "\n"
