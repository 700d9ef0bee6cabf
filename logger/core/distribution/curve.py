"""A smooth distribution: family with scale and shape, and the figures that follow from it.

Residue and passing are always named apart. Moments are those of the mass distribution (order 3) in the
moment-ratio notation D[p, q] of ISO 9276-2 (closed forms, from memory). What diverges is refused.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.core.distribution.families import LOG_NORMAL, Family
from logger.core.refusal import require

_STEP = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Diameter:
    """Size that `passing_pct` passes, µm, with its standard uncertainty and how it was found."""

    passing_pct: float
    d_um: float
    u_um: float
    extrapolated: bool
    basis: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """`scale_um` is d', k or d50; `shape` is n, m or 1 / s (the steepness in ln d)."""

    family: Family
    scale_um: float
    shape: float

    def __post_init__(self) -> None:
        require(
            0 < self.scale_um < math.inf and 0 < self.shape < math.inf,
            f"{self.family.title}: {self.family.scale_name} and {self.family.shape_name} must be above zero",
        )

    @property
    def s(self) -> float:
        """Width in ln d: standard deviation of ln d for the log-normal family."""
        return 1 / self.shape

    @property
    def named_shape(self) -> tuple[str, float]:
        """The second parameter as the trade writes it: n, m, or s of the log-normal family."""
        if self.family is LOG_NORMAL:
            return "s", self.s
        return self.family.shape_name, self.shape

    def residue_pct(self, d_um: float) -> float:
        """Share retained at d, %."""
        return 100 * self.family.residue(self.shape * math.log(d_um / self.scale_um))

    def passing_pct(self, d_um: float) -> float:
        """Share passing at d, %."""
        return 100 - self.residue_pct(d_um)

    def slope_pct_per_um(self, d_um: float) -> float:
        """dR / dd at d, % per µm; negative. The sensitivity to a sieve's mean aperture."""
        z = self.shape * math.log(d_um / self.scale_um)
        return 100 * self.family.slope(z) * self.shape / d_um

    def diameter_um(self, passing_pct: float) -> float:
        """Size that this share passes, µm; the share lies strictly between 0 and 100 %."""
        require(0 < passing_pct < 100, f"a passing share lies between 0 and 100 %, not {passing_pct}")
        return self.scale_um * math.exp(self.family.ordinate(1 - passing_pct / 100) / self.shape)

    def mean_um(self, p: int, q: int) -> float:
        """Mean size D[p, q], µm: D[4, 3] is the mass mean, D[3, 2] the Sauter mean.

        Raises `ResultError` where the integral diverges, as for D[3, 2] with RRSB n <= 1.
        """
        if p == q:
            ratio = (self._log_moment(p - 3 + _STEP) - self._log_moment(p - 3 - _STEP)) / (2 * _STEP)
        else:
            ratio = (self._log_moment(p - 3) - self._log_moment(q - 3)) / (p - q)
        return self.scale_um * math.exp(ratio)

    @property
    def sauter_um(self) -> float:
        """Sauter mean D[3, 2], µm; `ResultError` where it diverges."""
        return self.mean_um(3, 2)

    def _log_moment(self, k: float) -> float:
        value = self.family.log_moment(k, self.shape)
        name, least = self.family.shape_name, -k
        require(
            math.isfinite(value),
            f"{self.family.title} with {name} = {self.shape:.4g}: the fine end holds an endless surface "
            f"unless {name} is above {least:.3g}, so this mean and the specific surface do not exist; "
            "none is given",
        )
        return value
