"""The sources of a residue's uncertainty, each as a component of the budget.

Weighing, endpoint, correction factor, aperture, repeatability. Which of them a run has is decided here,
and so is what must be said when one is missing.
"""

from __future__ import annotations

import math
from dataclasses import replace

from logger.core.residue import Residue, residue_ratio_u
from logger.core.uncertainty import Component, NotIncluded
from logger.core.weighing import BalanceSpec

TYPICAL_TAIL_EXPONENT = 1.35
"""Near the endpoint the loss rate falls about as time^-1.35 (our own simulation study, not a standard)."""


def weighing_components(found: Residue, spec: BalanceSpec) -> tuple[Component, ...]:
    """One component for each known error of the balance, with the tare's correlation.

    Three readings of the same u give u(R) = u sqrt(1 + R^2 + (1 - R)^2) / m0, so the sensitivity is
    that factor over the charge, in % per g. In live mode the bare platform is read twice more.
    """
    sensitivity = 100 * residue_ratio_u(found.residue_pct / 100, 1.0, found.charge_g, found.further_readings)
    platform = ", platform read before and after" if found.further_readings else ""
    return tuple(
        Component(
            name=f"weighing: {name}",
            u=u_g,
            unit="g",
            sensitivity=sensitivity,
            dof=spec.repeatability_dof if name == "repeatability" else math.inf,
            basis=f"three readings, tare shared{platform}",
        )
        for name, u_g in spec.components_g
    )


def endpoint_component(
    *,
    rate_pct_per_min: float,
    rate_u_pct_per_min: float = 0.0,
    at_s: float = 0.0,
    late_s: float = 0.0,
    interval_s: float = 0.0,
    tail_exponent: float = TYPICAL_TAIL_EXPONENT,
) -> Component:
    """What the place of the stop leaves open: powder was still passing at `rate_pct_per_min`.

    Three parts, added as squares. The stop at `at_s` seconds moves by t u(r) / (e r) when the rate is
    known to u(r) and falls as t^-e. Powder that passed during `late_s` between decision and suction
    off is a rectangular half-width. Weighing every `interval_s` puts the stop anywhere in one interval:
    a rectangle of that whole width. The rate is taken as constant over those seconds, which is the
    cautious side.
    """
    rate = max(0.0, rate_pct_per_min)
    stop_pct = at_s / 60 * rate_u_pct_per_min / tail_exponent
    late_pct = rate * late_s / 60 / math.sqrt(3)
    interval_pct = rate * interval_s / 60 / math.sqrt(12)
    return Component(
        name="endpoint",
        u=math.hypot(stop_pct, late_pct, interval_pct),
        basis=f"still passing {rate:.3g} %/min when stopped",
    )


def loss_if_twice_as_long_pct(
    rate_pct_per_min: float, at_s: float, tail_exponent: float = TYPICAL_TAIL_EXPONENT
) -> float:
    """What a run twice as long would still lose, % of the charge: an estimate, to be labelled as one.

    For a rate that falls as t^-e from `at_s` on: r t / 60 (1 - 2^(1-e)) / (e - 1), and r t / 60 ln 2
    for e = 1. The residue after endless sieving cannot be known from a run that stopped at its endpoint.
    """
    reach = rate_pct_per_min * at_s / 60
    past_one = tail_exponent - 1
    if abs(past_one) < 1e-9:
        return reach * math.log(2)
    return reach * -math.expm1(-past_one * math.log(2)) / past_one


def aperture_component(
    slope_pct_per_um: float | None, aperture_u_um: float, corrected: bool, basis: str = ""
) -> Component | NotIncluded:
    """The mean aperture's uncertainty times the slope of the residue curve at the aperture.

    A correction factor measured on the same sieve already holds the aperture, so nothing is added then.
    """
    if corrected:
        reason = "held in the correction factor, which was measured on this sieve"
        return NotIncluded(name="aperture", reason=reason)
    if slope_pct_per_um is None:
        reason = "slope of the distribution near the aperture is not known from one sieve"
        return NotIncluded(name="aperture", reason=reason)
    return Component(
        name="aperture", u=aperture_u_um, unit="µm", sensitivity=slope_pct_per_um, basis=basis or "tolerance"
    )


def correction_component(raw_residue_pct: float, factor_u: float, basis: str = "") -> Component:
    """The correction factor's uncertainty; the residue before correction is its sensitivity."""
    return Component(name="correction factor", u=factor_u, unit="1", sensitivity=raw_residue_pct, basis=basis)


def repeatability_component(sd_pct: float, count: int, dof: float = math.inf, basis: str = "") -> Component:
    """Scatter of determinations: s_r / sqrt(n) of the mean of `count`.

    It holds the scatter of weighing and endpoint once more; that is small and on the cautious side.
    """
    return Component(
        name="repeatability",
        u=sd_pct,
        sensitivity=1 / math.sqrt(count),
        dof=dof,
        basis=basis or f"mean of {count}",
    )


def scaled(component: Component, factor: float) -> Component:
    """The same source after the residue was multiplied by a correction factor."""
    return replace(component, sensitivity=component.sensitivity * factor)
