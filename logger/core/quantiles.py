"""Quantiles of Student's t, F, chi-squared and the normal distribution, for any real degrees of freedom.

Plain series and continued fractions of the incomplete beta and gamma functions (Abramowitz and Stegun,
26.5 and 6.5; from memory), checked against SciPy in the tests. Probabilities lie strictly between 0 and 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from statistics import NormalDist

_TINY = 1e-300
_CLOSE = 1e-15
_STEPS = 2000


def normal_cdf(z: float) -> float:
    """Probability that a standard normal value is at most z; exact in both tails."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


def normal_quantile(probability: float) -> float:
    """Value that a standard normal variable stays below with this probability."""
    return NormalDist().inv_cdf(probability)


def t_cdf(t: float, dof: float) -> float:
    """Probability that Student's t with `dof` degrees of freedom is at most t."""
    if math.isinf(dof):
        return normal_cdf(t)
    tail = 0.5 * beta_share(dof / 2, 0.5, dof / (dof + t * t))
    return 1 - tail if t > 0 else tail


def t_quantile(probability: float, dof: float) -> float:
    """Student's t that is not exceeded with this probability; infinite `dof` gives the normal quantile."""
    _check_probability(probability)
    if math.isinf(dof):
        return normal_quantile(probability)
    tail = min(probability, 1 - probability)
    x = _solve(lambda share: beta_share(dof / 2, 0.5, share) - 2 * tail, 0.0, 1.0)
    t = math.sqrt(dof * (1 - x) / x) if x < 1 else 0.0
    return t if probability >= 0.5 else -t


def f_quantile(probability: float, dof1: float, dof2: float) -> float:
    """Fisher's F that is not exceeded with this probability."""
    _check_probability(probability)
    x = _solve(lambda share: 1 - probability - beta_share(dof2 / 2, dof1 / 2, share), 1.0, 0.0)
    return dof2 * (1 - x) / (dof1 * x)


def chi2_above(value: float, dof: float) -> float:
    """Probability that chi-squared with `dof` degrees of freedom is above the value."""
    return gamma_above(dof / 2, value / 2)


def gamma_above(a: float, x: float) -> float:
    """Regularised upper incomplete gamma function Q(a, x)."""
    if x <= 0:
        return 1.0
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1:
        term = total = 1 / a
        for n in range(1, _STEPS):
            term *= x / (a + n)
            total += term
            if term < total * _CLOSE:
                break
        return 1 - front * total
    return front * _continued(lambda n: (n * (a - n), x + 2 * n + 1 - a), x + 1 - a)


def beta_share(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I_x(a, b)."""
    if x <= 0 or x >= 1:
        return 0.0 if x <= 0 else 1.0
    if x > (a + 1) / (a + b + 2):
        return 1 - beta_share(b, a, 1 - x)
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)

    def term(n: int) -> tuple[float, float]:
        m = n // 2
        if n % 2:
            return -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)), 1.0
        return m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)), 1.0

    return math.exp(log_front) / a * _continued(term, 1.0)


def _continued(term: Callable[[int], tuple[float, float]], first: float) -> float:
    """1 / (first + n1 / (d1 + n2 / (d2 + ...))) with term(k) = (nk, dk), by Lentz's method."""
    ratio_d = 1 / first if first else 1 / _TINY
    ratio_c = math.inf
    value = ratio_d
    for n in range(1, _STEPS):
        numerator, denominator = term(n)
        ratio_d = 1 / ((denominator + numerator * ratio_d) or _TINY)
        ratio_c = denominator + numerator / ratio_c or _TINY
        value *= ratio_c * ratio_d
        if abs(ratio_c * ratio_d - 1) < _CLOSE:
            break
    return value


def _solve(rising: Callable[[float], float], low: float, high: float) -> float:
    """Root of a function that rises from `low` to `high` (either order), by halving."""
    for _ in range(2000):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if rising(middle) < 0 else (low, middle)
    return (low + high) / 2


def _check_probability(probability: float) -> None:
    if not 0 < probability < 1:
        raise ValueError(f"a probability lies between 0 and 1, not {probability}")
