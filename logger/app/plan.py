"""From bench file and method to the plan of a run."""

from __future__ import annotations

from collections.abc import Mapping

import logger
from logger.core.readings import Channel
from logger.core.run.plan import BenchPlan
from logger.settings import Bench

LINK_GAP_S = 2.0
"""Real seconds without a reading until the last one is stale; scaled with the simulated bench clock."""


def bench_plan(
    bench: Bench, speed: float = 1.0, periods_s: Mapping[Channel, float] | None = None
) -> BenchPlan:
    """The part of the bench file that a run freezes. `periods_s`: time between lines, by the profiles."""
    periods_s = periods_s or {}
    return BenchPlan(
        site=bench.site,
        bench=bench.bench,
        arrangement=bench.arrangement,
        balance=bench.balance.spec(),
        capacity_g=bench.balance.capacity_g,
        zero_tolerance_g=bench.balance.zero_tolerance_g,
        alarms=bench.alarms,
        link_gap_s=LINK_GAP_S * speed,
        mass_period_s=periods_s.get(Channel.MASS),
        dp_period_s=periods_s.get(Channel.PRESSURE),
        checks=bench.checks,
        shift=bench.shift,
        insecure_broker=bench.broker is not None and bench.broker.insecure,
    )


def software() -> str:
    """Name and version, as frozen into every record."""
    return f"lastgrain {logger.__version__}"
