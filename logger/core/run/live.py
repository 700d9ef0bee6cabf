"""What live mode asks of a loss-rate estimator, so that the run does not depend on one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from logger.core.run.plan import RunPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveState:
    """The estimate now: rate in % of the charge per minute, load in g, forecast in elapsed s."""

    rate_pct_per_min: float | None
    rate_u_pct_per_min: float | None
    load_g: float | None
    stop: bool
    open_conditions: tuple[str, ...]
    text: str
    forecast_s: tuple[float, float, float] | None
    """Median, low and high of the expected endpoint."""


class LiveRate(Protocol):
    """Fed with samples in order of time; t_s is 0 at suction start and negative in the rest."""

    def add(
        self, t_s: float, mass_g: float | None, dp_pa: float | None, stable: bool | None, deciding: bool
    ) -> None:
        """One reading of the load on the sieve (tare taken off) with the pressure beside it; `deciding` is false
        while the run is held."""
        ...

    def note_hands(self, t_s: float) -> None:
        """Hands were on the rig (lid tapped, sieve brushed): a step here is theirs."""
        ...

    @property
    def stopped(self) -> bool:
        """Whether the endpoint has been found. Cheap; `state` has the details."""
        ...

    @property
    def frozen(self) -> bool:
        """Whether the balance shows the same digits for longer than powder and noise allow."""
        ...

    def state(self) -> LiveState:
        """The estimate and decision after the last sample."""
        ...


def no_live_rate(plan: RunPlan, charge_g: float) -> LiveRate:
    """Stands where live mode was not wired; raises, since a live run must never go on without a rule."""
    raise LookupError("this run has no loss-rate estimator")
