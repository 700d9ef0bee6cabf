"""Three families of size distribution, each straight on its own paper.

All are one shape moved and stretched along ln d: z = b (ln d - a), residue R = G(z).

- RRSB (Rosin, Rammler, Sperling, Bennett; DIN 66145): R = exp(-(d / d')^n); ordinate ln(-ln R)
- GGS (Gates, Gaudin, Schuhmann; DIN 66143): passing Q = (d / k)^m up to k; ordinate ln Q
- log-normal (DIN 66144): Q = Phi(ln(d / d50) / s); ordinate the normal quantile of Q

a is the logarithm of d', k or d50; b is n, m or 1 / s. Standards quoted from memory. R and Q are shares.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from logger.core.quantiles import normal_cdf, normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Residue share from z, its slope, z from a residue share strictly between 0 and 1, ln of a moment.

    `log_moment(k, b)` is ln E[(d / e^a)^k] of the mass distribution, +inf where that integral diverges;
    it exists for b above `least_b(k)`.
    """

    key: str
    short: str
    title: str
    scale_name: str
    shape_name: str
    residue: Callable[[float], float]
    slope: Callable[[float], float]
    ordinate: Callable[[float], float]
    log_moment: Callable[[float, float], float]

    def ordinate_slope(self, share: float) -> float:
        """Size of dz / dR at a residue share: what turns u(R) into u(z)."""
        return 1 / abs(self.slope(self.ordinate(share)))


def _rrsb_residue(z: float) -> float:
    return math.exp(-math.exp(min(z, 700.0)))


def _rrsb_slope(z: float) -> float:
    grown = math.exp(min(z, 700.0))
    return -grown * math.exp(-grown)


def _rrsb_log_moment(k: float, n: float) -> float:
    return math.lgamma(1 + k / n) if 1 + k / n > 0 else math.inf


def _ggs_residue(z: float) -> float:
    return -math.expm1(z) if z < 0 else 0.0


def _ggs_slope(z: float) -> float:
    return -math.exp(z) if z <= 0 else 0.0


def _ggs_log_moment(k: float, m: float) -> float:
    return math.log(m / (m + k)) if m + k > 0 else math.inf


def _log_normal_slope(z: float) -> float:
    return -math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi)


RRSB = Family(
    key="rrsb",
    short="RRSB",
    title="Rosin-Rammler-Sperling-Bennett",
    scale_name="d'",
    shape_name="n",
    residue=_rrsb_residue,
    slope=_rrsb_slope,
    ordinate=lambda share: math.log(-math.log(share)),
    log_moment=_rrsb_log_moment,
)
GGS = Family(
    key="ggs",
    short="GGS",
    title="Gates-Gaudin-Schuhmann",
    scale_name="k",
    shape_name="m",
    residue=_ggs_residue,
    slope=_ggs_slope,
    ordinate=lambda share: math.log1p(-share),
    log_moment=_ggs_log_moment,
)
LOG_NORMAL = Family(
    key="log-normal",
    short="log-normal",
    title="log-normal",
    scale_name="d50",
    shape_name="1/s",
    residue=lambda z: normal_cdf(-z),
    slope=_log_normal_slope,
    ordinate=lambda share: -normal_quantile(share),
    log_moment=lambda k, b: k * k / (2 * b * b),
)
FAMILIES = {family.key: family for family in (RRSB, GGS, LOG_NORMAL)}
