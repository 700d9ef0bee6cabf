"""Precision of a method from a study: repeatability and reproducibility by ISO 5725-2.

Groups are whatever differs between them: operators, benches, laboratories. Each material is analysed by
itself. s_r is the scatter within groups, s_R adds that between them, r and R are 2.8 times both. Groups
on one and the same sieve do not see its aperture: name the study after what was varied.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from logger.core.determinations import RANGE_FACTORS
from logger.core.outliers import OutlierTest, cochran, grubbs
from logger.core.refusal import require, require_finite


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """One-way analysis of variance: mean squares between and within groups with their freedom."""

    mean: float
    between: float
    between_dof: int
    within: float
    within_dof: int
    mean_count: float

    @property
    def f(self) -> float:
        """Ratio of the mean squares."""
        return self.between / self.within if self.within else math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialPrecision:
    """Precision at one material, % of the charge. `s_between` is s_L of ISO 5725-2.

    `between_negative` says that its estimate came out below zero and counts as zero.
    """

    material: str
    groups: tuple[str, ...]
    values: int
    mean_pct: float
    s_r_pct: float
    s_r_dof: int
    s_between_pct: float
    between_negative: bool
    s_big_r_pct: float
    r_pct: float
    big_r_pct: float
    tests: tuple[OutlierTest, ...]
    text: str


def spread(groups: Sequence[Sequence[float]]) -> Spread:
    """Analysis of variance of two or more groups, at least one of them with two or more values.

    Sums run over deviations from the overall centre, so that leading digits common to all cost nothing.
    """
    require(len(groups) >= 2, "scatter between groups needs two or more groups (operators or benches)")
    require(all(groups), "a group without values cannot enter a study: leave it out")
    total = sum(len(g) for g in groups)
    require(total > len(groups), "repeatability needs two or more values in at least one group")
    shift = groups[0][0]
    moved = [[value - shift for value in group] for group in groups]
    means = [math.fsum(g) / len(g) for g in moved]
    overall = math.fsum(v for g in moved for v in g) / total
    within = math.fsum((v - m) ** 2 for g, m in zip(moved, means, strict=True) for v in g)
    between = math.fsum(len(g) * (m - overall) ** 2 for g, m in zip(moved, means, strict=True))
    free = len(groups) - 1
    return Spread(
        mean=shift + overall,
        between=between / free,
        between_dof=free,
        within=within / (total - len(groups)),
        within_dof=total - len(groups),
        mean_count=(total - sum(len(g) ** 2 for g in groups) / total) / free,
    )


def material_precision(material: str, groups: Mapping[str, Sequence[float]]) -> MaterialPrecision:
    """Precision at one material from the residues found by each group, % of the charge.

    Raises `ResultError` with fewer than two groups or without repeats.
    """
    names, cells = tuple(groups), [list(values) for values in groups.values()]
    for name, values in groups.items():
        require_finite(**{f"value {i} of {name}": v for i, v in enumerate(values, start=1)})
    found = spread(cells)
    between_var = (found.between - found.within) / found.mean_count
    s_between = math.sqrt(max(0.0, between_var))
    s_r, s_big_r = math.sqrt(found.within), math.hypot(math.sqrt(found.within), s_between)
    tests = _tests(cells)
    return MaterialPrecision(
        material=material,
        groups=names,
        values=sum(len(c) for c in cells),
        mean_pct=found.mean,
        s_r_pct=s_r,
        s_r_dof=found.within_dof,
        s_between_pct=s_between,
        between_negative=between_var < 0,
        s_big_r_pct=s_big_r,
        r_pct=RANGE_FACTORS[2] * s_r,
        big_r_pct=RANGE_FACTORS[2] * s_big_r,
        tests=tests,
        text=_sentence(material, names, s_r, s_big_r, tests),
    )


def precision_study(
    materials: Mapping[str, Mapping[str, Sequence[float]]],
) -> tuple[MaterialPrecision, ...]:
    """The same for several materials: {material: {operator or bench: residues in %}}, by rising mean."""
    found = [material_precision(name, groups) for name, groups in materials.items()]
    return tuple(sorted(found, key=lambda m: m.mean_pct))


def _tests(cells: Sequence[Sequence[float]]) -> tuple[OutlierTest, ...]:
    means = [math.fsum(c) / len(c) for c in cells]
    usual = Counter(len(c) for c in cells).most_common(1)[0][0]
    variances = [
        math.fsum((v - m) ** 2 for v in c) / (len(c) - 1) if len(c) > 1 else 0.0
        for c, m in zip(cells, means, strict=True)
    ]
    of_variances = cochran(variances, usual) if usual > 1 else None
    return (*([of_variances] if of_variances else []), *grubbs(means))


def _sentence(
    material: str, names: Sequence[str], s_r: float, s_big_r: float, tests: Sequence[OutlierTest]
) -> str:
    limits = [RANGE_FACTORS[2] * s for s in (s_r, s_big_r)]
    text = f"{material}: r = {limits[0]:.2f} %, R = {limits[1]:.2f} % from {len(names)} groups"
    marked = [test for test in tests if test.mark != "none"]
    for test in marked:
        text += f"; {' and '.join(names[i] for i in test.indices)} {test.mark} by {test.name}"
    return text + ("; nothing was removed, decide and say why" if marked else "")
