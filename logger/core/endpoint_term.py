"""The endpoint's place in the budget, from what a run recorded of its end."""

from __future__ import annotations

from collections.abc import Sequence

from logger.core.interval_rules import WeighingPoint, loss_rate_pct_per_min, loss_rate_u
from logger.core.residue_budget import endpoint_component
from logger.core.uncertainty import Component, NotIncluded


def live_endpoint(
    rate_pct_per_min: float | None,
    rate_u_pct_per_min: float | None,
    decision_s: float | None,
    suction_off_s: float | None,
) -> Component | NotIncluded:
    """From the live loss rate at the decision and the delay until the suction was off (elapsed seconds)."""
    if rate_pct_per_min is None or rate_u_pct_per_min is None or decision_s is None:
        return NotIncluded(name="endpoint", reason="the loss rate at the end is not known")
    late_s = 0.0 if suction_off_s is None else max(0.0, suction_off_s - decision_s)
    return endpoint_component(
        rate_pct_per_min=rate_pct_per_min,
        rate_u_pct_per_min=rate_u_pct_per_min,
        at_s=decision_s,
        late_s=late_s,
    )


def interval_endpoint(
    charge_g: float, points: Sequence[WeighingPoint], mass_u_g: float, late_s: float = 0.0
) -> Component | NotIncluded:
    """From the last two weighings after the charge; `points[0]` is the charge at 0 s.

    `late_s` is the time from the end of the last interval until the suction was off. It lies within the
    time sieved between the two weighings and is added all the same, on the cautious side.

    The loss from the charge to the first weighing says nothing of the rate at the end, so one weighing
    alone (as after a fixed time) leaves the term out.
    """
    if len(points) < 3:
        reason = "one weighing after the charge does not show what was still passing"
        return NotIncluded(name="endpoint", reason=reason)
    earlier, last = points[-2], points[-1]
    span_s = last.effective_s - earlier.effective_s
    return endpoint_component(
        rate_pct_per_min=loss_rate_pct_per_min(charge_g, earlier, last),
        rate_u_pct_per_min=loss_rate_u(charge_g, span_s, mass_u_g),
        at_s=last.effective_s,
        late_s=late_s,
        interval_s=span_s,
    )
