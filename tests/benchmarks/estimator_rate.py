"""Microseconds a reading: the live estimator against a plain recursive slope, on the same made runs, in turns."""

from __future__ import annotations

from logger.core.baselines import SlidingSlope
from logger.core.endpoint.estimator import LossRateEstimator
from tests.benchmarks.test_estimator_cost import costs
from tests.endpoint_traces import make_run

SEEDS = range(1_200_000, 1_200_006)


def measure() -> dict[str, float]:
    """Mean over some runs of random benches; the longest single reading in ms."""
    live: list[float] = []
    plain: list[float] = []
    for seed in SEEDS:
        run = make_run(seed)
        estimator = LossRateEstimator(run.endpoint, run.suction, run.weighing, run.rig, run.charge_g)
        slope = SlidingSlope(60.0)
        live += costs(estimator.add, run)
        plain += costs(lambda t, mass, _dp, slope=slope: slope.add(t, mass), run)  # type: ignore[misc]
    ours, bare = 1e6 * sum(live) / len(live), 1e6 * sum(plain) / len(plain)
    return {"us_per_reading": ours, "slope_us": bare, "ratio": ours / bare, "longest_ms": 1e3 * max(live)}
