"""Curves with known parameters, for checks against values from outside."""

from __future__ import annotations

from logger.core.distribution.curve import Curve
from logger.core.distribution.families import GGS, LOG_NORMAL, RRSB


def rrsb(d_prime_um: float, n: float) -> Curve:
    """Rosin-Rammler-Sperling-Bennett: R = exp(-(d / d')^n), 36.8 % residue at d'."""
    return Curve(family=RRSB, scale_um=d_prime_um, shape=n)


def ggs(k_um: float, m: float) -> Curve:
    """Gates-Gaudin-Schuhmann: Q = (d / k)^m, all passes at k."""
    return Curve(family=GGS, scale_um=k_um, shape=m)


def log_normal(d50_um: float, s: float) -> Curve:
    """Log-normal: half passes at d50; s is the standard deviation of ln d."""
    return Curve(family=LOG_NORMAL, scale_um=d50_um, shape=1 / s)
