"""Linear propagation of uncertainty through any function of several correlated inputs (GUM, 5.2)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike

_STEP = 1e-3
"""Difference step as a share of each input's standard uncertainty: far inside, far above rounding."""


def gradient(
    function: Callable[..., float], values: Sequence[float], u: Sequence[float]
) -> tuple[float, ...]:
    """Sensitivities of the function to each input, by central differences of a small part of each u."""
    return tuple(_slope(function, values, i, _STEP * u[i]) for i in range(len(values)))


def _slope(function: Callable[..., float], values: Sequence[float], at: int, step: float) -> float:
    step = step or abs(values[at]) * 1e-6 or 1e-6
    above, below = list(values), list(values)
    above[at] += step
    below[at] -= step
    return (function(*above) - function(*below)) / (above[at] - below[at])


def propagated_u(function: Callable[..., float], values: Sequence[float], covariance: ArrayLike) -> float:
    """Standard uncertainty of the function's value, from the covariance matrix of its inputs."""
    matrix = np.asarray(covariance, dtype=float)
    slopes = np.asarray(gradient(function, values, [math.sqrt(v) for v in np.diag(matrix)]))
    return math.sqrt(max(0.0, float(slopes @ matrix @ slopes)))
