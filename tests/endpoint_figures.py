"""The table of docs/study.md over random made-up benches: `python -m tests.endpoint_figures SOURCE FIRST COUNT`.

SOURCE is `sums` (`endpoint_traces`), `population` (`endpoint_population`) or `scenarios` (`endpoint_scenarios`).
Seeds below 100,000 are for tuning.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from logger.core.baselines import MinuteRule, SlopeRule
from logger.core.endpoint.feasibility import rate_se_pct_per_min
from logger.core.rig import Rig
from tests.endpoint_population import LEFT_BAND, make_population_run
from tests.endpoint_runs import JudgedRun, is_feasible, judge, spread_of_errors
from tests.endpoint_scenarios import make_scenario_run
from tests.endpoint_traces import MadeRun, make_run

SOURCES = {"sums": make_run, "population": make_population_run, "scenarios": make_scenario_run}
EARLY_X, MISSED_S, EARLIEST_S = 1.25, 300.0, 60.0
GROUPS = ("feasible", "hard", "would be refused")


@dataclass(frozen=True, slots=True)
class Figure:
    """One run: its group, the estimator's stop, and the stops of two simple rules as (delay s, rate in limits)."""

    group: str
    limit: float
    left_band: bool
    judged: JudgedRun
    simple: tuple[tuple[float, float] | None, ...]


def group_of(run: MadeRun) -> str:
    """By the formula of docs/endpoint.md with the bench's true noise."""
    if is_feasible(run):
        return GROUPS[0]
    bench, limit = run.setting.instrument, run.setting.limit
    rig = Rig(
        readability_g=bench.readability_g,
        white_sd_g=bench.white_g,
        flicker_rms_g=bench.flicker_g,
        sample_hz=bench.sample_hz,
    )
    window_s = min(120.0, 0.35 * run.crossing_s)
    se = rate_se_pct_per_min(rig, run.charge_g, limit, window_s, run.setting.rest_s)
    return GROUPS[1] if 1.25 - 2.0 * se / limit > 0.5 else GROUPS[2]


def figure(run: MadeRun) -> Figure:
    """Judges one run, simple rules beside the estimator."""
    return Figure(group_of(run), run.setting.limit, LEFT_BAND in run.notes, judge(run), _simple(run))


def _simple(run: MadeRun) -> tuple[tuple[float, float] | None, ...]:
    limit = run.setting.limit
    rules = (SlopeRule(60.0, run.charge_g, limit, EARLIEST_S), MinuteRule(run.charge_g, limit, EARLIEST_S))
    for t, mass in zip(run.t_s.tolist(), run.mass_g.tolist(), strict=True):
        if t > 0:
            for rule in rules:
                rule.add(t, mass)
    return tuple(
        None if rule.stop_s is None else (rule.stop_s - run.crossing_s, run.rate_at(rule.stop_s) / limit)
        for rule in rules
    )


def table(figures: Sequence[Figure]) -> Iterator[str]:
    """Markdown, a line a group, then a line a simple rule over all accepted runs."""
    yield (
        "| group | runs | early | worst x | missed | median abs. delay s | delay p5 / median / p95 s |"
        " within -50..40 s | residue error p95 % (limit up to 0.1 %/min) | error spread | 90 % forecast covers |"
    )
    yield "|---|---|---|---|---|---|---|---|---|---|---|"
    for group in GROUPS:
        own = [f for f in figures if f.group == group]
        if own:
            yield _line(group, own)
    accepted = [f for f in figures if f.group != GROUPS[2]]
    for n, name in enumerate(("slope 60 s", "once a minute")):
        stops = [f.simple[n] for f in accepted]
        delays, rates = zip(*[stop for stop in stops if stop is not None], strict=True)
        early = sum(x > EARLY_X for x in rates)
        p5, median, p95 = np.percentile(delays, [5, 50, 95])
        yield (
            f"| {name} (all accepted) | {len(stops)} | {early} | {max(rates):.1f} | {stops.count(None)} |"
            f" {np.median(np.abs(delays)):.0f} | {p5:.0f} / {median:.0f} / {p95:.0f} |"
            f" {_within(np.array(delays)):.0f} % | | | |"
        )


def _within(delays: np.ndarray) -> float:
    return 100.0 * float(np.mean((delays > -50) & (delays < 40)))


def _line(group: str, own: Sequence[Figure]) -> str:
    stopped = [f for f in own if f.judged.delay_s is not None]
    delays = np.array([f.judged.delay_s for f in stopped], dtype=np.float64)
    rates = [f.judged.rate_x or 0.0 for f in stopped]
    errors = np.abs(np.array([f.judged.residue_error_pct for f in stopped], dtype=np.float64))
    strict = errors[np.array([f.limit <= 0.1 for f in stopped])]
    late = [f for f in own if not f.left_band and (f.judged.delay_s is None or f.judged.delay_s > MISSED_S)]
    covers = [c for f in own for c in f.judged.forecast_covers]
    p5, median, p95 = np.percentile(delays, [5, 50, 95])
    return (
        f"| {group} | {len(own)} | {sum(x > EARLY_X for x in rates)} | {max(rates):.2f} | {len(late)} |"
        f" {np.median(np.abs(delays)):.0f} | {p5:.0f} / {median:.0f} / {p95:.0f} | {_within(delays):.0f} % |"
        f" {np.percentile(errors, 95):.2f} ({np.percentile(strict, 95):.2f}) |"
        f" {spread_of_errors([f.judged for f in own]):.2f} | {100 * np.mean(covers):.0f} % |"
    )


def figures(source: str, seeds: Iterable[int]) -> list[Figure]:
    """All runs of these seeds, judged."""
    return [figure(SOURCES[source](seed)) for seed in seeds]


def main(arguments: Sequence[str]) -> int:
    """Prints the table."""
    source, first, count = arguments[0], int(arguments[1]), int(arguments[2])
    print("\n".join(table(figures(source, range(first, first + count)))))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
