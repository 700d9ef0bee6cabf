"""`lastgrain study`: simulated runs through the real estimator, with simple rules beside it.

The virtual rig knows its true rate, so early stops, misses, delay and residue error can be counted. The
figures say what the estimator does with this simulator's powders and rigs, not what a real rig will do.
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import TextIO

import numpy as np

from logger.app.progress import tracked
from logger.core.baselines import MinuteRule, SlopeRule
from logger.core.endpoint.estimator import LossRateEstimator
from logger.core.method import Endpoint, Suction, Weighing
from logger.core.rig import Rig
from simulators.rig import VirtualRig
from simulators.scenarios import SCENARIOS, Scenario, UnknownScenarioError, find_scenario

LIMIT = 0.1
REST_S = 60.0
LONGEST_S = 1200.0
HZ = 10.0
EARLIEST_S = 60.0
AFTER_S = 330.0
MISSED_S = 300.0
EARLY_X = 1.25
TROUBLES = ("none", "bump", "sag", "knock", "dropout")
RULES = ("estimator", "slope 60 s", "once a minute", "fixed 300 s")


@dataclass(frozen=True, slots=True)
class Case:
    """One simulated run."""

    scenario: str
    trouble: str
    seed: int


@dataclass(frozen=True, slots=True)
class Stop:
    """What one rule did with one run; None where it did not stop. Rates in units of the limit."""

    rule: str
    delay_s: float | None
    rate_x: float | None
    residue_error_pct: float | None


@dataclass(frozen=True, slots=True)
class Judged:
    """All rules on one run, and the estimator's normalised errors near the crossing."""

    case: Case
    crossing_s: float | None
    stops: tuple[Stop, ...]
    errors: tuple[float, ...]
    forecast_covers: tuple[bool, ...]
    left_band: bool


def study_command(
    scenarios: Sequence[str] = (),
    seeds: int = 10,
    first_seed: int = 1,
    troubles: Sequence[str] = TROUBLES,
    jobs: int | None = None,
    out: TextIO | None = None,
    err: TextIO | None = None,
) -> int:
    """Prints a table (Markdown) of all rules over scenarios x troubles x seeds. Exit 0, or 2 for a bad name."""
    out, err = out or sys.stdout, err or sys.stderr
    try:
        names = [find_scenario(name).name for name in scenarios] or list(SCENARIOS)
    except UnknownScenarioError as error:
        print(error, file=err)
        return 2
    unknown = [trouble for trouble in troubles if trouble not in TROUBLES]
    if unknown or seeds < 1:
        print(f"troubles are {', '.join(TROUBLES)}; seeds must be 1 or more", file=err)
        return 2
    cases = [
        Case(name, trouble, first_seed + seed)
        for name in names
        for trouble in troubles
        for seed in range(seeds)
    ]
    judged = list(tracked(_run_all(cases, jobs), "Simulated runs", len(cases)))
    print("\n".join(table(judged)), file=out)
    return 0


def _run_all(cases: list[Case], jobs: int | None) -> Iterator[Judged]:
    workers = min(jobs or os.cpu_count() or 1, len(cases))
    if workers < 2:
        yield from map(judge_case, cases)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(judge_case, cases, chunksize=4)


# --- one run ------------------------------------------------------------------------------------------


def judge_case(case: Case) -> Judged:
    """Simulates one run and lets every rule watch it."""
    scenario = find_scenario(case.scenario, "under")
    bench = _Bench(scenario, case)
    rules = _Rules(scenario, bench.charge_g, case.seed)
    for t_s, mass_g, dp_pa in bench.readings():
        rules.add(t_s, mass_g, dp_pa, bench)
        if bench.is_over(t_s):
            break
    return rules.judged(case, bench)


class _Bench:
    """A virtual rig with a charge on it; suction starts after the rest, at t = 0 of the run."""

    def __init__(self, scenario: Scenario, case: Case) -> None:
        self._case = case
        self._rng = np.random.default_rng([case.seed, 17])
        self.rig = VirtualRig(scenario, case.seed)
        self.rig.place_sieve()
        self.rig.advance(5.0)
        self.rig.tare_pressed()
        self.charge_g = self.rig.pour_charge()
        self.rig.set_lid(True)
        self._start_s = 15.0 + REST_S
        self._trouble_at = (
            {float(self._rng.uniform(60, 500)) for _ in range(2)} if case.trouble != "none" else set()
        )
        self._silent_until = -math.inf

    def readings(self) -> Iterator[tuple[float, float, float]]:
        """(s since suction start, load g, dP Pa) at about 10 Hz."""
        start = self._start_s
        now = start - REST_S
        while now - start < LONGEST_S:
            now += (1.0 + 0.2 * self._rng.uniform(-1, 1)) / HZ
            if now >= start and not self.rig.suction_is_on:
                self.rig.advance(start)
                self.rig.suction_on()
            self.rig.advance(now)
            self._make_trouble(now - start)
            if now - start >= self._silent_until:
                yield now - start, self.rig.balance().mass_g, self.rig.pressure().dp_pa

    def _make_trouble(self, t_s: float) -> None:
        due = [at for at in self._trouble_at if at <= t_s]
        for at in due:
            self._trouble_at.discard(at)
            size = float(self._rng.choice([-1, 1]) * 10 ** self._rng.uniform(-1.5, 0))
            if self._case.trouble == "bump":
                self.rig.bump(5.0, size)
            elif self._case.trouble == "knock":
                self.rig.bump(10.0)
            elif self._case.trouble == "sag":
                self.rig.sag(float(self._rng.uniform(0.1, 0.6)), float(self._rng.uniform(5, 60)))
            elif self._case.trouble == "dropout":
                self._silent_until = t_s + float(self._rng.uniform(2, 30))

    def rate(self, t_s: float) -> float:
        """True rate at nominal pressure, %/min."""
        return self.rig.truth.rate_pct_per_min_nominal(self._start_s + t_s)

    def load_pct(self, t_s: float) -> float:
        """True load, % of the charge."""
        return 100.0 * self.rig.truth.load_g(self._start_s + t_s) / self.charge_g

    @property
    def crossing_s(self) -> float | None:
        """True crossing of the limit, s since suction start; None if not yet."""
        found = self.rig.truth.crossing_s(LIMIT, self._start_s + 30.0)
        return None if found is None else found - self._start_s

    def is_over(self, t_s: float) -> bool:
        """Whether enough has been seen after the crossing."""
        if t_s < 60 or round(t_s * HZ) % 100:
            return False
        crossing = self.crossing_s
        return crossing is not None and t_s > crossing + AFTER_S


class _Rules:
    """The estimator and the simple rules on one run."""

    def __init__(self, scenario: Scenario, charge_g: float, seed: int) -> None:
        self._charge_g = charge_g
        endpoint = Endpoint(rule="loss-rate", limit_pct_per_min=LIMIT, max_time_s=LONGEST_S + 1.0)
        suction = Suction(dp_pa=scenario.dp_nominal_pa, band_pa=0.15 * scenario.dp_nominal_pa)
        rig = _blank_run(scenario, np.random.default_rng([seed, 23]))
        self._estimator = LossRateEstimator(
            endpoint, suction, Weighing(mode="live", rest_s=REST_S), rig, charge_g
        )
        self._slope = SlopeRule(60.0, charge_g, LIMIT, EARLIEST_S)
        self._minute = MinuteRule(charge_g, LIMIT, EARLIEST_S)
        self._stop_s: float | None = None
        self._rates: list[tuple[float, float, float]] = []
        self._forecasts: list[tuple[float, float]] = []
        self._blocks = 0
        self._dp0, self._band = suction.dp_pa, suction.band_pa
        self._outside: list[float] = []

    def _left_band(self, crossing: float | None) -> bool:
        """Pressure was out of its band for long after the crossing: no rule may stop there."""
        after = [t for t in self._outside if crossing is not None and crossing < t < crossing + MISSED_S]
        return len(after) > 0.1 * MISSED_S * HZ

    def add(self, t_s: float, mass_g: float, dp_pa: float, bench: _Bench) -> None:
        estimator = self._estimator
        estimator.add(t_s, mass_g, dp_pa)
        if t_s > 0:
            self._outside += [t_s] if abs(dp_pa - self._dp0) > self._band else []
            self._slope.add(t_s, mass_g)
            self._minute.add(t_s, mass_g)
        rate = estimator.rate
        if rate is not None and estimator.blocks != self._blocks:
            self._blocks = estimator.blocks
            self._rates.append((t_s, *rate))
            self._forecast(rate[0])
        if self._stop_s is None and estimator.stopped:
            self._stop_s = t_s

    def _forecast(self, rate: float) -> None:
        wanted = (3.0, 2.0, 1.5)[len(self._forecasts) :][:1]
        if not wanted or rate > wanted[0] * LIMIT:
            return
        made = self._estimator.forecast_now()
        if made is not None:
            self._forecasts.append((made.low_s, made.high_s))

    def judged(self, case: Case, bench: _Bench) -> Judged:
        crossing = bench.crossing_s
        stops = [self._stop_s, self._slope.stop_s, self._minute.stop_s, 300.0]
        return Judged(
            case,
            crossing,
            tuple(_judge(r, s, crossing, bench) for r, s in zip(RULES, stops, strict=True)),
            self._errors(crossing, bench),
            tuple(low <= crossing <= high for low, high in self._forecasts) if crossing is not None else (),
            self._left_band(crossing),
        )

    def _errors(self, crossing: float | None, bench: _Bench) -> tuple[float, ...]:
        if crossing is None:
            return ()
        near = [(t, r, u) for t, r, u in self._rates if abs(t - crossing) < 0.1 * crossing and u > 0]
        return tuple((r - bench.rate(t)) / u for t, r, u in near[::10])


def _judge(rule: str, stop_s: float | None, crossing: float | None, bench: _Bench) -> Stop:
    if stop_s is None:
        return Stop(rule, None, None, None)
    rate_x = bench.rate(stop_s) / LIMIT
    if crossing is None:
        return Stop(rule, None, rate_x, None)
    return Stop(rule, stop_s - crossing, rate_x, bench.load_pct(stop_s) - bench.load_pct(crossing))


def _blank_run(scenario: Scenario, rng: np.random.Generator) -> Rig:
    """The rig file that a blank run of this rig would have written, with its errors."""
    scale = scenario.platform
    u = 0.03 * scale.coupling_g_per_kpa
    return Rig(
        readability_g=scale.readability_g,
        coupling_g_per_kpa=scale.coupling_g_per_kpa + u * float(rng.standard_normal()),
        coupling_u_g_per_kpa=u,
        coupling2_g_per_kpa2=scale.coupling2_g_per_kpa2,
        flicker_rms_g=scale.flicker_rms_g * float(np.exp(0.2 * rng.standard_normal())),
        white_sd_g=scale.white_sd_g,
        nozzle_rpm=scenario.extractor.nozzle_rpm,
        sample_hz=HZ,
    )


# --- the table ----------------------------------------------------------------------------------------


def table(judged: Sequence[Judged]) -> Iterator[str]:
    """Markdown: one line a rule over all runs, then the estimator scenario by scenario."""
    yield f"{len(judged)} runs; early: true rate above {EARLY_X:g} x limit; missed: no stop within {MISSED_S:g} s"
    yield "of the true crossing with the pressure in its band."
    yield ""
    yield "| rule | runs | early % | worst x | missed | delay median / p5 / p95 s | residue error p95 % |"
    yield "|---|---|---|---|---|---|---|"
    for n, rule in enumerate(RULES):
        yield _row(rule, [j.stops[n] for j in judged], [_due_s(j) for j in judged])
    yield ""
    yield "| scenario (estimator) | runs | early % | worst x | missed | delay median / p5 / p95 s | residue error p95 % |"
    yield "|---|---|---|---|---|---|---|"
    for name in dict.fromkeys(j.case.scenario for j in judged):
        own = [j for j in judged if j.case.scenario == name]
        yield _row(name, [j.stops[0] for j in own], [_due_s(j) for j in own])
    yield ""
    errors = np.array([e for j in judged for e in j.errors])
    covered = [c for j in judged for c in j.forecast_covers]
    if errors.size and covered:
        yield (
            f"Normalised error of the rate near the crossing: mean {errors.mean():.2f}, spread {errors.std():.2f};"
            f" forecast interval named 90 % covers {100 * float(np.mean(covered)):.0f} % of {len(covered)}."
        )


def _due_s(judged: Judged) -> float | None:
    return None if judged.left_band else judged.crossing_s


def _row(name: str, stops: list[Stop], crossings: list[float | None]) -> str:
    rates = [s.rate_x for s in stops if s.rate_x is not None]
    delays = [s.delay_s for s in stops if s.delay_s is not None]
    errors = [abs(s.residue_error_pct) for s in stops if s.residue_error_pct is not None]
    early = 100.0 * sum(x > EARLY_X for x in rates) / len(stops)
    missed = sum(
        c is not None and (s.delay_s is None or s.delay_s > MISSED_S)
        for s, c in zip(stops, crossings, strict=True)
    )
    p5, median, p95 = np.percentile(delays, [5, 50, 95]) if delays else (np.nan,) * 3
    error = float(np.percentile(errors, 95)) if errors else float("nan")
    worst = max(rates, default=0.0)
    return (
        f"| {name} | {len(stops)} | {early:.1f} | {worst:.2f} | {missed} |"
        f" {median:.0f} / {p5:.0f} / {p95:.0f} | {error:.3f} |"
    )
