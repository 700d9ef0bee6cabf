"""Runs a made-up run through the estimator and judges it against its truth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from logger.core.endpoint.estimator import LossRateEstimator
from logger.core.endpoint.feasibility import rate_se_pct_per_min
from logger.core.rig import Rig
from tests.endpoint_traces import MadeRun

FORECAST_AT = (3.0, 2.0, 1.5)


@dataclass(frozen=True, slots=True)
class JudgedRun:
    """`rate_x`: true rate at the stop in units of the limit; `error`: normalised error near the crossing."""

    seed: int
    feasible: bool
    delay_s: float | None
    rate_x: float | None
    residue_error_pct: float | None
    error: float | None
    forecast_covers: tuple[bool, ...]


def judge(run: MadeRun) -> JudgedRun:
    """Feeds the run until it stops or ends."""
    estimator = LossRateEstimator(run.endpoint, run.suction, run.weighing, run.rig, run.charge_g)
    limit, error = run.setting.limit, None
    covers: list[bool] = []
    stop_s: float | None = None
    for t, mass, dp in zip(run.t_s.tolist(), run.mass_g.tolist(), run.dp_pa.tolist(), strict=True):
        estimator.add(t, mass, None if math.isnan(dp) else dp)
        rate = estimator.rate
        if rate is None:
            continue
        if error is None and t > 0.95 * run.crossing_s:
            error = (rate[0] - run.rate_at(t)) / rate[1]
        if len(covers) < len(FORECAST_AT) and rate[0] <= FORECAST_AT[len(covers)] * limit:
            made = estimator.forecast_now()
            if made is not None:
                covers.append(made.low_s <= run.crossing_s <= made.high_s)
        if estimator.stopped:
            stop_s = t
            break
    stopped = stop_s is not None
    return JudgedRun(
        run.seed,
        is_feasible(run),
        stop_s - run.crossing_s if stop_s is not None else None,
        run.rate_at(stop_s) / limit if stop_s is not None else None,
        100 * (run.load_at(stop_s) - run.load_at(run.crossing_s)) / run.charge_g
        if stop_s is not None
        else None,
        error if error is not None or not stopped else None,
        tuple(covers),
    )


def is_feasible(run: MadeRun) -> bool:
    """By the formula, with the bench's true noise and a window of 0.35 of the run."""
    bench = run.setting.instrument
    rig = Rig(
        readability_g=bench.readability_g,
        white_sd_g=bench.white_g,
        flicker_rms_g=bench.flicker_g,
        sample_hz=bench.sample_hz,
    )
    limit = run.setting.limit
    se = rate_se_pct_per_min(rig, run.charge_g, limit, 0.35 * run.crossing_s, run.setting.rest_s)
    return se <= 0.125 * limit


def spread_of_errors(runs: Sequence[JudgedRun]) -> float:
    """Root mean square of the normalised errors; 1 when the standard error is honest."""
    errors = np.array([run.error for run in runs if run.error is not None])
    return float(np.sqrt(np.mean(errors**2)))
