"""Whatever comes in, in whatever order of stamps: no exception, no nan, no endpoint without its conditions."""

from __future__ import annotations

import math
import warnings

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from logger.core.endpoint.estimator import LossRateEstimator
from logger.core.method import Endpoint, Suction, Weighing
from logger.core.rig import Rig

STEP = st.sampled_from([0.0, 0.05, 0.1, 0.1, 0.1, 0.5, 1.0, 7.0, 40.0])
MASS = st.one_of(
    st.none(), st.just("tail"), st.just("tail"), st.just("tail"), st.floats(-1e4, 1e4), st.just("frozen")
)
PRESSURE = st.one_of(st.none(), st.sampled_from([0.0, 2500.0, 2500.0, 2500.0, 2700.0, -300.0, 1e5]))


@settings(deadline=None, max_examples=60)
@given(
    seed=st.integers(0, 1000),
    start_s=st.sampled_from([-60.0, -5.0, 0.0, 3.0]),
    events=st.lists(st.tuples(STEP, MASS, PRESSURE, st.integers(1, 60)), min_size=1, max_size=25),
    rpm=st.sampled_from([None, 20.0, 60.0]),
    coupling=st.sampled_from([None, 0.5]),
)
def test_any_readings_leave_it_sane(
    seed: int,
    start_s: float,
    events: list[tuple[float, float | str | None, float | None, int]],
    rpm: float | None,
    coupling: float | None,
) -> None:
    rng = np.random.default_rng(seed)
    rig = Rig(readability_g=0.001, nozzle_rpm=rpm, coupling_g_per_kpa=coupling)
    endpoint = Endpoint(rule="loss-rate", limit_pct_per_min=0.1)
    estimator = LossRateEstimator(
        endpoint, Suction(dp_pa=2500.0, band_pa=250.0), Weighing(mode="live"), rig, 50.0
    )
    t = start_s
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for step, mass, dp, repeats in events:
            for _ in range(repeats):
                t += step
                load = 5.0 + 45.0 * math.exp(-max(t, 0.0) / 40.0) + 0.002 * rng.normal()
                value = load if mass == "tail" else 12.345 if mass == "frozen" else mass
                estimator.add(t, value, dp)  # type: ignore[arg-type]
            found = estimator.assessment
            assert found.stop == (not found.open_conditions)
            for number in (found.rate_pct_per_min, found.rate_u_pct_per_min, found.load_g, found.load_u_g):
                assert number is None or math.isfinite(number)
            if found.forecast is not None:
                assert found.forecast.low_s <= found.forecast.t_s <= found.forecast.high_s
