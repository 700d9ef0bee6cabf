"""Ruggedness of a method: how much the residue moves when pressure, charge, time or anything else is a little off.

A planned set of runs at two levels a factor (low -1, high +1), and centre runs (0) whose scatter is the
repeatability. Effects by least squares; an effect is what the residue changes from low to high. Common
practice for method validation (Youden & Steiner 1975, from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

Z = 2.0


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """One run of the plan: level (-1, 0, +1) of each factor, and its residue in % once it was made."""

    levels: Mapping[str, int]
    residue_pct: float | None = None


@dataclass(frozen=True, slots=True)
class Effect:
    """Change of the residue from low to high level, % of the charge, with its standard uncertainty."""

    factor: str
    effect_pct: float
    effect_u_pct: float
    matters: bool
    text: str


def plan(factors: Sequence[str], centre_runs: int = 3) -> tuple[PlannedRun, ...]:
    """All combinations of low and high for up to three factors, half of them from four on, and centre runs.

    Raises ValueError without a factor, with one twice, or with more than six.
    """
    if not 1 <= len(factors) <= 6 or len(set(factors)) != len(factors):
        raise ValueError("name one to six different factors")
    corners = list(itertools.product((-1, 1), repeat=len(factors)))
    if len(factors) > 3:
        corners = [corner for corner in corners if math.prod(corner) == 1]
    runs = [PlannedRun(dict(zip(factors, corner, strict=True))) for corner in corners]
    return (*runs, *(PlannedRun(dict.fromkeys(factors, 0)) for _ in range(centre_runs)))


def effects(runs: Sequence[PlannedRun], allowed_pct: float) -> tuple[Effect, ...]:
    """Effects of the runs that were made. `allowed_pct`: the largest change of the residue that is acceptable.

    Raises ValueError when there are too few runs or levels to tell them.
    """
    made = [run for run in runs if run.residue_pct is not None]
    factors = list(made[0].levels) if made else []
    design = np.array([[1.0, *(run.levels[f] for f in factors)] for run in made])
    if len(made) < len(factors) + 2 or np.linalg.matrix_rank(design) < len(factors) + 1:
        raise ValueError("too few runs were made to tell the effects apart; make the rest of the plan")
    residues = np.array([run.residue_pct for run in made])
    solution = np.linalg.lstsq(design, residues, rcond=None)[0]
    sd = _repeatability(made, residues - design @ solution, len(factors))
    cov = np.linalg.inv(design.T @ design)
    return tuple(
        _effect(name, 2 * float(solution[i]), 2 * sd * math.sqrt(float(cov[i, i])), allowed_pct)
        for i, name in enumerate(factors, start=1)
    )


def _repeatability(made: Sequence[PlannedRun], rest: np.ndarray, count: int) -> float:
    centre = [run.residue_pct for run in made if not any(run.levels.values())]
    if len(centre) >= 3:
        return float(np.std([value for value in centre if value is not None], ddof=1))
    return math.sqrt(float(rest @ rest) / max(len(made) - count - 1, 1))


def _effect(name: str, effect: float, u: float, allowed_pct: float) -> Effect:
    seen = abs(effect) > Z * u
    matters = abs(effect) > allowed_pct or (abs(effect) + Z * u > allowed_pct and seen)
    if matters:
        verdict = f"{name} matters: hold it more tightly"
    elif abs(effect) + Z * u > allowed_pct:
        verdict = f"{name} is not told well enough: repeat the runs"
    else:
        verdict = f"the method is rugged against {name}"
    text = f"{verdict} (residue {effect:+.2f} % from low to high, u = {u:.2f} %, allowed {allowed_pct:g} %)."
    return Effect(name, effect, u, matters, text)
