"""The loss-rate estimator in the words of a live run."""

from __future__ import annotations

from logger.core.endpoint.estimator import LossRateEstimator
from logger.core.rig import Rig
from logger.core.run.live import LiveState
from logger.core.run.plan import RunPlan


class EstimatedRate:
    """Implements LiveRate."""

    def __init__(self, plan: RunPlan, charge_g: float) -> None:
        method = plan.method
        rig = plan.rig or Rig(readability_g=plan.bench.balance.readability_g)
        self._estimator = LossRateEstimator(
            method.endpoint, method.suction, method.weighing, rig, charge_g, method.nozzle.speed_rpm
        )

    def add(
        self, t_s: float, mass_g: float | None, dp_pa: float | None, stable: bool | None, deciding: bool
    ) -> None:
        """One sample."""
        self._estimator.add(t_s, mass_g, dp_pa, stable is not False, deciding)

    def note_hands(self, t_s: float) -> None:
        """Hands were on the rig."""
        self._estimator.note_hands(t_s)

    @property
    def stopped(self) -> bool:
        """Whether the endpoint has been found."""
        return self._estimator.stopped

    @property
    def frozen(self) -> bool:
        """Whether the newest reading repeats its digits for too long."""
        return self._estimator.frozen

    def state(self) -> LiveState:
        """The estimate and the decision."""
        found = self._estimator.assessment
        forecast = found.forecast
        return LiveState(
            rate_pct_per_min=found.rate_pct_per_min,
            rate_u_pct_per_min=found.rate_u_pct_per_min,
            load_g=found.load_g,
            stop=found.stop,
            open_conditions=found.open_conditions,
            text=found.text,
            forecast_s=None if forecast is None else (forecast.t_s, forecast.low_s, forecast.high_s),
        )


def make_live_rate(plan: RunPlan, charge_g: float) -> EstimatedRate:
    """The estimator for one run, once its charge is known."""
    return EstimatedRate(plan, charge_g)
