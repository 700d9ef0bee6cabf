"""Does the loss ever cease? Friable grains wear on the sieve at a rate that never falls; a fixed limit on the
loss rate is then met late or never, and the residue depends on how long one waits.

Three loads at T/4, T/2 and T of a long run. A tail of near-mesh grains loses at most half as fast in the second
doubling of time as in the first (local exponent 1 or more; 1.3 and above in simulations); a constant wear c
does not fall at all. With the mean rates r1 over [T/4, T/2] and r2 over [T/2, T], c is at least 2 r2 - r1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Z = 2.0


@dataclass(frozen=True, slots=True)
class AttritionCheck:
    """`wear_pct_per_min`: least constant loss that the run shows, with its standard uncertainty."""

    verdict: Literal["ceases", "does-not-cease", "cannot-tell"]
    wear_pct_per_min: float
    wear_u_pct_per_min: float
    exponent: float | None
    text: str


def check_attrition(
    total_s: float,
    load_quarter_pct: float,
    load_half_pct: float,
    load_end_pct: float,
    u_pct: float,
    limit_pct_per_min: float,
    drift_u_pct_per_min: float = 0.0,
) -> AttritionCheck:
    """Loads in % of the charge after a quarter, a half and all of `total_s` effective seconds; `u_pct` is the
    standard uncertainty of each, `drift_u_pct_per_min` that of the balance's drift, which looks like wear where
    the load was read all along. Raises ValueError for a time or uncertainty that cannot be meant."""
    if not total_s > 0 or u_pct < 0:
        raise ValueError("the time must be above zero and the uncertainty not negative")
    first = 60.0 * (load_quarter_pct - load_half_pct) / (0.25 * total_s)
    second = 60.0 * (load_half_pct - load_end_pct) / (0.5 * total_s)
    wear = 2.0 * second - first
    # The load at half time enters both rates: wear = 60/T x (-4 quarter + 8 half - 4 end).
    u = math.hypot(60.0 / total_s * u_pct * math.sqrt(4.0**2 + 8.0**2 + 4.0**2), drift_u_pct_per_min)
    exponent = math.log2(first / second) if first > 0 and second > 0 else None
    matters = 0.25 * limit_pct_per_min
    said = f"loss that does not fall with time: {wear:.3f} %/min (u = {u:.3f}, k = 1)"
    if wear - Z * u > 0 and wear > matters:
        text = f"The loss does not cease: {said}. Use a fixed time, or a gentler pressure."
        return AttritionCheck("does-not-cease", wear, u, exponent, text)
    if Z * u > matters and wear + Z * u > matters:
        need_s = total_s * Z * u / matters
        text = f"Cannot tell: {said}; {matters:.3f} %/min would matter. Sieve for {need_s:.0f} s, or weigh finer."
        return AttritionCheck("cannot-tell", wear, u, exponent, text)
    return AttritionCheck("ceases", wear, u, exponent, f"The loss ceases as a tail does: {said}.")
