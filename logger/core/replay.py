"""What a rule would have done with a stored run: the same arithmetic as live, fed from a trace. Pure."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from dataclasses import replace as with_changes
from typing import Any, Literal

from logger.core.endpoint.estimator import LossRateEstimator
from logger.core.endpoint.feasibility import (
    TAIL_EXPONENT,
    Z_FORMULA,
    Feasibility,
    check_feasibility,
    delay_s,
    weighing_u_g,
)
from logger.core.interval_rules import IntervalJudgement, WeighingPoint, judge_interval
from logger.core.method import Endpoint, Method
from logger.core.rig import Rig
from logger.core.trace import Trace, TraceError

FORECAST_AT = (3.0, 2.0, 1.5)
"""Forecasts are kept from when the rate was this many times the limit."""
PASSED_BY = 0.85
"""... unless the rate had already fallen below this share of that when a forecast became possible."""
TARE_DOUBT = 0.2
"""A load this far (relative) from the charge before any powder can have passed is a wrong tare or charge."""
LIVE_STEP_S = 10.0
"""Rows closer together than this are readings, not weighings."""
Outcome = Literal["endpoint", "time-limit", "end-of-trace", "refused", "error"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ForecastAt:
    """A forecast of the endpoint made when the rate was `at_rate_x` times the limit (s since suction start)."""

    at_rate_x: float
    t_s: float
    low_s: float
    high_s: float
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The answer for one trace. Without an endpoint, rate and residue are those at the end of what was read."""

    trace: str
    outcome: Outcome
    endpoint_s: float | None = None
    rate_pct_per_min: float | None = None
    rate_u_pct_per_min: float | None = None
    residue_pct: float | None = None
    residue_u_pct: float | None = None
    forecast: tuple[ForecastAt, ...] = ()
    feasible: bool | None = None
    expected_delay_s: float | None = None
    reason: str = ""

    def as_json(self) -> dict[str, Any]:
        """Plain data, numbers rounded to what they mean."""
        return {key: _rounded(value) for key, value in asdict(self).items()}


@dataclass(frozen=True, slots=True)
class LoadTrack:
    """Load against time as far as known: clock s, effective s, load in % of the charge."""

    t_s: tuple[float, ...]
    effective_s: tuple[float, ...]
    load_pct: tuple[float, ...]


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, dict):
        return {key: _rounded(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_rounded(item) for item in value]
    return value


def is_interval_trace(trace: Trace, method: Method) -> bool:
    """Rows are weighings: no pressure at all, and an interval method or rows far apart."""
    if trace.has_pressure:
        return False
    if method.weighing.mode == "interval":
        return True
    return bool(trace.t_s.size > 1 and (trace.t_s[-1] - trace.t_s[0]) / (trace.t_s.size - 1) >= LIVE_STEP_S)


def charge_of(trace: Trace, method: Method, given_g: float | None) -> float:
    """The charge asked for, else the trace's own, else the method's."""
    return given_g or trace.charge_g or method.charge.mass_g


def replay(trace: Trace, method: Method, rig: Rig | None, charge_g: float | None) -> Answer:
    """The answer of the method's rule for this trace. Raises TraceError where the trace cannot be meant."""
    charge = charge_of(trace, method, charge_g)
    used = rig if rig is not None else Rig(readability_g=trace.readability_g())
    if is_interval_trace(trace, method):
        return replay_interval(trace, method, used, charge)
    if method.weighing.mode == "interval":
        return _weighings_of_live(trace, method, used, charge)
    return replay_live(trace, method, used, charge)[0]


# --- live -------------------------------------------------------------------------------------------


def replay_live(trace: Trace, method: Method, rig: Rig, charge_g: float) -> tuple[Answer, LoadTrack]:
    """The live rule, and the load as the estimator saw it (to the end of the trace or the time limit)."""
    _check_tare(trace, charge_g)
    found = check_feasibility(method, rig, charge_g, trace.rest_s)
    estimator = _estimator(method, rig, charge_g)
    track = _Track()
    forecasts: list[ForecastAt] = []
    outcome: Outcome = "end-of-trace"
    for t, mass, dp, stable in trace.rows():
        estimator.add(t, mass, dp, stable)
        track.note(t, estimator)
        if not estimator.stopped:
            _note_forecasts(estimator, method, forecasts)
        if t >= method.endpoint.max_time_s:
            outcome = "time-limit"
            break
    if estimator.stopped:
        outcome = "endpoint"
    if found.refused:
        return _refused(trace, found), track.done()
    return _live_answer(trace, method, charge_g, estimator, outcome, found, forecasts), track.done()


def _estimator(method: Method, rig: Rig, charge_g: float) -> LossRateEstimator:
    return LossRateEstimator(
        method.endpoint, method.suction, method.weighing, rig, charge_g, method.nozzle.speed_rpm
    )


def _check_tare(trace: Trace, charge_g: float) -> None:
    for t, mass, _, _ in trace.rows():
        if t >= 0:
            return
        if mass is not None and abs(mass - charge_g) > TARE_DOUBT * charge_g:
            raise TraceError(
                trace.name,
                None,
                f"mass_g is {mass:g} g before suction starts, the charge is {charge_g:g} g; take the tare off,"
                " or give the charge of this run with --charge",
            )


class _Track:
    def __init__(self) -> None:
        self._rows: list[tuple[float, float, float]] = []
        self._blocks = 0

    def note(self, t_s: float, estimator: LossRateEstimator) -> None:
        if estimator.blocks == self._blocks:
            return
        self._blocks, load = estimator.blocks, estimator.load_pct
        if load is not None:
            self._rows.append((t_s, estimator.effective_s, load))

    def done(self) -> LoadTrack:
        t, effective, load = zip(*self._rows, strict=True) if self._rows else ((), (), ())
        return LoadTrack(tuple(t), tuple(effective), tuple(load))


def _note_forecasts(estimator: LossRateEstimator, method: Method, kept: list[ForecastAt]) -> None:
    limit, rate = method.endpoint.limit_pct_per_min, estimator.rate
    if limit is None or rate is None or len(kept) == len(FORECAST_AT):
        return
    due = [x for x in FORECAST_AT if rate[0] <= x * limit and x not in [f.at_rate_x for f in kept]]
    for x in due:
        forecast = estimator.forecast_now() if rate[0] > PASSED_BY * x * limit else None
        if forecast is not None:
            kept.append(
                ForecastAt(
                    at_rate_x=x,
                    t_s=forecast.t_s,
                    low_s=forecast.low_s,
                    high_s=forecast.high_s,
                    level=forecast.level,
                )
            )


def _refused(trace: Trace, found: Feasibility) -> Answer:
    wanted = "; ".join(found.remedies)
    return Answer(
        trace=trace.name,
        outcome="refused",
        feasible=False,
        expected_delay_s=found.expected_delay_s,
        reason=f"{found.text} What would help: {wanted}.",
    )


def _live_answer(
    trace: Trace,
    method: Method,
    charge_g: float,
    estimator: LossRateEstimator,
    outcome: Outcome,
    found: Feasibility,
    forecasts: list[ForecastAt],
) -> Answer:
    last = estimator.assessment
    reason = last.text
    if outcome == "time-limit":
        reason = f"Time limit of {method.endpoint.max_time_s:g} s reached, not an endpoint. {last.text}"
    elif outcome == "end-of-trace":
        reason = f"The trace ends at {trace.t_s[-1]:g} s without an endpoint. {last.text}"
    endpoint_s = last.t_s if outcome == "endpoint" else None
    return Answer(
        trace=trace.name,
        outcome=outcome,
        endpoint_s=endpoint_s,
        rate_pct_per_min=last.rate_pct_per_min,
        rate_u_pct_per_min=last.rate_u_pct_per_min,
        residue_pct=None if last.load_g is None else 100.0 * last.load_g / charge_g,
        residue_u_pct=None if last.load_u_g is None else 100.0 * last.load_u_g / charge_g,
        forecast=tuple(forecasts),
        feasible=found.feasible,
        expected_delay_s=_delay_at(found, method, endpoint_s),
        reason=reason,
    )


def _delay_at(found: Feasibility, method: Method, endpoint_s: float | None) -> float:
    """The expected delay on this run's own time scale, once that is known."""
    limit = method.endpoint.limit_pct_per_min
    if found.feasible or endpoint_s is None or limit is None or found.se_pct_per_min is None:
        return found.expected_delay_s
    shortfall = max(method.endpoint.margin - Z_FORMULA * found.se_pct_per_min / limit, 0.05)
    crossing_s = endpoint_s * min(shortfall, 1.0) ** (1.0 / TAIL_EXPONENT)
    return delay_s(shortfall, crossing_s)


# --- weighings --------------------------------------------------------------------------------------


def replay_interval(trace: Trace, method: Method, rig: Rig, charge_g: float) -> Answer:
    """The interval rule on a trace of weighings (t_s = effective seconds sieved)."""
    points = [WeighingPoint(t, mass) for t, mass, _, _ in trace.rows() if mass is not None and t >= 0]
    if points[0].effective_s > 0:
        points.insert(0, WeighingPoint(0.0, charge_g))
    for earlier, later in itertools.pairwise(points):
        if later.effective_s == earlier.effective_s:
            raise TraceError(
                trace.name, None, f"two weighings at {later.effective_s:g} s; keep the one that counts"
            )
    if points[0].load_g > (1 + TARE_DOUBT) * charge_g:
        raise TraceError(
            trace.name,
            None,
            f"the first load is {points[0].load_g:g} g, the charge {charge_g:g} g; take the tare off, or give"
            " the charge of this run with --charge",
        )
    found = check_feasibility(method, rig, charge_g)
    if found.refused:
        return _refused(trace, found)
    return _judge_all(trace.name, points, method, rig, charge_g, found)


def _judge_all(
    name: str, points: list[WeighingPoint], method: Method, rig: Rig, charge_g: float, found: Feasibility
) -> Answer:
    u_g = weighing_u_g(rig)
    for last, judgement in judge_in_turn(points, method, charge_g, u_g):
        if judgement.stop:
            return _interval_answer(name, "endpoint", last, judgement, charge_g, u_g, found)
        if last.effective_s >= method.endpoint.max_time_s:
            return _interval_answer(name, "time-limit", last, judgement, charge_g, u_g, found)
    return _interval_answer(name, "end-of-trace", last, judgement, charge_g, u_g, found)


def judge_in_turn(
    points: list[WeighingPoint], method: Method, charge_g: float, mass_u_g: float
) -> Iterator[tuple[WeighingPoint, IntervalJudgement]]:
    """Every weighing with its judgement, as it would have come during the run.

    Of dense weighings only the last interval and a half, and the charge, matter to the rules.
    """
    reach_s = 1.5 * (method.weighing.interval_s or 0.0)
    first = 1
    yield points[0], judge_interval(method, charge_g, points[:1], mass_u_g)
    for n in range(1, len(points)):
        while first < n - 3 and points[n].effective_s - points[first + 1].effective_s > reach_s:
            first += 1
        seen = [points[0], *points[first : n + 1]]
        yield points[n], judge_interval(method, charge_g, seen, mass_u_g)


def _interval_answer(
    name: str,
    outcome: Outcome,
    last: WeighingPoint,
    judgement: IntervalJudgement,
    charge_g: float,
    u_g: float,
    found: Feasibility,
) -> Answer:
    is_rate = judgement.unit == "%/min"
    prefix = {
        "endpoint": "",
        "time-limit": f"Time limit reached at {last.effective_s:g} s, not an endpoint. ",
        "end-of-trace": f"The trace ends at {last.effective_s:g} s without an endpoint. ",
    }[outcome]
    share = judgement.residue_pct / 100.0
    return Answer(
        trace=name,
        outcome=outcome,
        endpoint_s=last.effective_s if outcome == "endpoint" else None,
        rate_pct_per_min=judgement.value if is_rate else None,
        rate_u_pct_per_min=judgement.value_u if is_rate else None,
        residue_pct=judgement.residue_pct,
        # Tare enters both weighings: u(R) = u/m0 sqrt(1 + R^2 + (1 - R)^2).
        residue_u_pct=100.0 * u_g / charge_g * math.sqrt(1.0 + share**2 + (1.0 - share) ** 2),
        feasible=found.feasible,
        expected_delay_s=found.expected_delay_s,
        reason=prefix + judgement.text,
    )


def weighings_from(
    track: LoadTrack, charge_g: float, interval_s: float, first_s: float
) -> list[WeighingPoint]:
    """The weighings that an interval method would have made of a run whose load is known all along."""
    points = [WeighingPoint(0.0, charge_g)]
    due = first_s
    for effective, load in zip(track.effective_s, track.load_pct, strict=True):
        if effective >= due:
            points.append(WeighingPoint(effective, load * charge_g / 100.0))
            due = effective + interval_s
    return points


def _weighings_of_live(trace: Trace, method: Method, rig: Rig, charge_g: float) -> Answer:
    """An interval method on a live trace: the load is weighed, as it were, at the method's intervals."""
    _, track = replay_live(trace, live_twin(method), rig, charge_g)
    interval = method.weighing.interval_s or method.endpoint.time_s or 60.0
    points = weighings_from(track, charge_g, interval, method.weighing.first_s or interval)
    found = check_feasibility(method, rig, charge_g)
    if found.refused:
        return _refused(trace, found)
    return _judge_all(trace.name, points, method, rig, charge_g, found)


def live_twin(method: Method) -> Method:
    """The same test weighed live to its time limit, to follow the load and not to decide."""
    endpoint = Endpoint(
        rule="fixed-time",
        time_s=0.999 * method.endpoint.max_time_s,
        min_time_s=0.0,
        max_time_s=method.endpoint.max_time_s,
    )
    return with_changes(method, endpoint=endpoint, weighing=with_changes(method.weighing, mode="live"))
