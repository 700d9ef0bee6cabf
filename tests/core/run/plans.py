"""Small plans for tests of the run."""

from __future__ import annotations

from logger.core.alarm_limits import AlarmLimits
from logger.core.method import Charge, Endpoint, Method, MethodIdentity, Sieve, Suction, Weighing
from logger.core.run.plan import BenchPlan
from logger.core.weighing import BalanceSpec


def interval_method(**endpoint: object) -> Method:
    """25 g on 45 µm at 2500 Pa, intervals of 20 s, 0.1 %/min, five minutes at most."""
    settings = {
        "limit_pct_per_min": 0.1,
        "min_time_s": 20.0,
        "max_time_s": 600.0,
        "hold_max_s": 120.0,
    } | endpoint
    return Method(
        method=MethodIdentity(id="m", title="test"),
        charge=Charge(mass_g=25.0, tolerance_g=0.5),
        sieve=Sieve(aperture_um=45.0),
        suction=Suction(dp_pa=2500.0, band_pa=250.0, settle_s=3.0),
        weighing=Weighing(mode="interval", first_interval_s=20.0, interval_s=20.0),
        endpoint=Endpoint(rule="loss-rate", **settings),  # type: ignore[arg-type]
    )


def bench_plan() -> BenchPlan:
    """A 1 mg balance beside the rig."""
    return BenchPlan(
        site="site",
        bench="bench",
        arrangement="beside",
        balance=BalanceSpec(readability_g=0.001, repeatability_g=0.0008),
        capacity_g=620.0,
        zero_tolerance_g=0.05,
        alarms=AlarmLimits(),
        link_gap_s=2.0,
    )
