"""What one reading of a balance is worth: its standard uncertainty and the least mass it may weigh.

Components follow the usual list of a calibration guide (EURAMET cg-18: rounding, repeatability,
eccentricity, linearity, drift since calibration, buoyancy; from memory). Each reading of the display is
rounded once, so a net mass made of two readings carries the rounding twice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.core.refusal import require, require_not_negative

MINIMUM_WEIGHT_FACTOR = 2000.0
"""Least mass over repeatability, so that 2 s is 0.10 % of it (USP <41>, read second-hand)."""

LEAST_REPEATABILITY_DIGITS = 0.41
"""A repeatability below 0.41 digit counts as 0.41 digit (USP <41>, read second-hand)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BalanceSpec:
    """Errors of a balance at the load of sieve and powder, g.

    `readability_g` is one digit of the display. `repeatability_g` is a standard deviation from
    `repeatability_dof` + 1 weighings. The others are half-widths: the largest deviation to be expected
    for a load put off the middle, for a load between the checked ones, for the time since the last check
    and for a change of air density between the weighings of one run. What is not known is left at zero
    and does not appear in the budget.
    """

    readability_g: float
    repeatability_g: float = 0.0
    repeatability_dof: float = math.inf
    eccentricity_g: float = 0.0
    linearity_g: float = 0.0
    drift_g: float = 0.0
    buoyancy_g: float = 0.0

    def __post_init__(self) -> None:
        require_not_negative(
            readability_g=self.readability_g,
            repeatability_g=self.repeatability_g,
            eccentricity_g=self.eccentricity_g,
            linearity_g=self.linearity_g,
            drift_g=self.drift_g,
            buoyancy_g=self.buoyancy_g,
        )
        require(self.readability_g > 0, "readability_g must be above zero: one digit of the display in g")
        require(self.repeatability_dof >= 1, "repeatability_dof must be 1 or more: weighings less one")

    @property
    def components_g(self) -> tuple[tuple[str, float], ...]:
        """Standard uncertainties of one reading by name, g; half-widths as rectangular distributions."""
        half_widths = (
            ("eccentricity", self.eccentricity_g),
            ("linearity", self.linearity_g),
            ("drift since the last check", self.drift_g),
            ("air buoyancy", self.buoyancy_g),
        )
        rounding = ("rounding of the display", self.readability_g / math.sqrt(12))
        known = (("repeatability", self.repeatability_g), rounding)
        rest = tuple((name, value / math.sqrt(3)) for name, value in half_widths)
        return tuple((name, u) for name, u in known + rest if u > 0)

    @property
    def mass_u_g(self) -> float:
        """Standard uncertainty of one independent reading, g: sqrt(s^2 + d^2/12 + ...)."""
        return math.hypot(*(u for _, u in self.components_g))

    @property
    def net_u_g(self) -> float:
        """Standard uncertainty of a net mass, the difference of two independent readings, g."""
        return math.sqrt(2) * self.mass_u_g

    @property
    def minimum_weight_g(self) -> float:
        """Least net mass that the pharmacopoeial rule lets this balance weigh, g (USP <41>)."""
        return minimum_weight_g(self.repeatability_g, self.readability_g)

    @property
    def decimals(self) -> int:
        """Digits behind the point that the display shows."""
        return max(0, math.ceil(-math.log10(self.readability_g) - 1e-9))


def minimum_weight_g(repeatability_g: float, readability_g: float) -> float:
    """Least net mass for which 2 s / m is 0.10 % or less, g (USP <41>; s is at least 0.41 d)."""
    return MINIMUM_WEIGHT_FACTOR * max(repeatability_g, LEAST_REPEATABILITY_DIGITS * readability_g)
