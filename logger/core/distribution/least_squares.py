"""Weighted nonlinear least squares by damped Gauss-Newton steps (Levenberg-Marquardt), numpy only."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from logger.core.refusal import ResultError

Array = NDArray[np.float64]
Model = Callable[[Array], tuple[Array, Array]]
"""Residuals already divided by their u, and their Jacobian, at given parameters."""

_STEPS = 500
_CLOSE = 1e-13
_FIRST_DAMPING = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Parameters, their covariance for residuals of unit weight, and the sum of squares left."""

    parameters: Array
    covariance: Array
    chi2: float


def least_squares(model: Model, start: Sequence[float]) -> Solution:
    """Parameters with the least sum of squares, from a start near enough.

    Raises `ResultError` when no minimum is found or the data do not fix all parameters.
    """
    at = np.asarray(start, dtype=float)
    residuals, jacobian = model(at)
    damping, still = _FIRST_DAMPING, 0
    for _ in range(_STEPS):
        step = _step(residuals, jacobian, damping)
        new_residuals, new_jacobian = model(at + step)
        before, after = float(residuals @ residuals), float(new_residuals @ new_residuals)
        small = bool(np.all(np.abs(step) <= _CLOSE * (np.abs(at) + _CLOSE)))
        if np.isfinite(after) and after <= before:
            at, residuals, jacobian = at + step, new_residuals, new_jacobian
            damping = damping / 10
            still = still + 1 if before - after <= _CLOSE * before else 0
        else:
            damping = max(damping, 1e-12) * 10
        if small or still >= 3:
            break
    else:
        raise ResultError("the fit did not settle: too few points for this curve, or they do not follow it")
    return Solution(parameters=at, covariance=_covariance(jacobian), chi2=float(residuals @ residuals))


def _step(residuals: Array, jacobian: Array, damping: float) -> Array:
    """Marquardt's step: damped in each parameter's own scale."""
    scale = np.linalg.norm(jacobian, axis=0)
    scale[scale == 0] = 1.0
    scaled = jacobian / scale
    rows = np.vstack([scaled, np.sqrt(damping) * np.eye(len(scale))])
    right = np.concatenate([-residuals, np.zeros(len(scale))])
    found: Array = np.linalg.lstsq(rows, right, rcond=None)[0] / scale
    return found


def _covariance(jacobian: Array) -> Array:
    scale = np.linalg.norm(jacobian, axis=0)
    if np.any(scale == 0) or np.linalg.cond(jacobian / scale) > 1e12:
        raise ResultError("the points do not fix both parameters of this curve")
    scaled = jacobian / scale
    found: Array = np.linalg.inv(scaled.T @ scaled) / np.outer(scale, scale)
    return found
