"""Cochran's and Grubbs' tests for studies of precision, critical values computed.

Cochran asks whether one variance is too large among several, Grubbs whether one mean (or the two at one
end) lies too far out. Levels as in ISO 5725-2 (from memory): 5 % marks a straggler, 1 % an outlier.
Nothing is removed here; a person decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from logger.core.quantiles import f_quantile, t_quantile
from logger.core.refusal import require

Mark = Literal["none", "straggler", "outlier"]
STRAGGLER, OUTLIER = 0.05, 0.01

_TWO_AT_ONE_END = {
    4: (0.00019, 0.0000075),
    5: (0.0090, 0.0018),
    6: (0.0350, 0.0116),
    7: (0.0708, 0.0310),
    8: (0.1102, 0.0564),
    9: (0.1493, 0.0849),
    10: (0.1864, 0.1153),
    11: (0.2214, 0.1450),
    12: (0.2536, 0.1742),
    13: (0.2836, 0.2012),
    14: (0.3112, 0.2280),
    15: (0.3369, 0.2531),
    16: (0.3602, 0.2768),
    17: (0.3821, 0.2989),
    18: (0.4027, 0.3203),
    19: (0.4214, 0.3398),
    20: (0.4392, 0.3584),
}
"""Grubbs' ratio for two values at one end, not to be undercut at 5 % and 1 %: 2.5 % and 0.5 % quantiles
of 4 million simulated normal samples, good to 0.0004; agree with ISO 5725-2, table 5 (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlierTest:
    """One test: its statistic, the 5 % and 1 % critical values, the mark, and which values it names."""

    name: str
    statistic: float
    critical_5: float
    critical_1: float
    mark: Mark
    indices: tuple[int, ...]


def cochran_critical(alpha: float, count: int, groups: int) -> float:
    """Critical share of the largest among `groups` variances of `count` values each."""
    f = f_quantile(1 - alpha / groups, count - 1, (groups - 1) * (count - 1))
    return 1 / (1 + (groups - 1) / f)


def grubbs_critical(alpha: float, groups: int) -> float:
    """Critical distance of the outermost among `groups` means, in their standard deviations."""
    t = t_quantile(1 - alpha / (2 * groups), groups - 2)
    return (groups - 1) / math.sqrt(groups) * math.sqrt(t**2 / (groups - 2 + t**2))


def cochran(variances: Sequence[float], count: int) -> OutlierTest | None:
    """Is the largest variance too large? `count` is the usual number of values behind each.

    None with fewer than two variances, or when all are zero.
    """
    total = math.fsum(variances)
    if len(variances) < 2 or total == 0:
        return None
    require(count >= 2, "Cochran's test needs two or more values in each cell")
    largest = max(variances)
    limits = [cochran_critical(alpha, count, len(variances)) for alpha in (STRAGGLER, OUTLIER)]
    share = largest / total
    return OutlierTest(
        name="Cochran",
        statistic=share,
        critical_5=limits[0],
        critical_1=limits[1],
        mark=_mark(share > limits[0], share > limits[1]),
        indices=(list(variances).index(largest),),
    )


def grubbs(means: Sequence[float]) -> tuple[OutlierTest, ...]:
    """Test the outermost mean; when it is no straggler, the two at either end (4 to 20 means).

    Empty with fewer than three means or when they are all equal.
    """
    centre = math.fsum(means) / max(1, len(means))
    squares = math.fsum((m - centre) ** 2 for m in means)
    if len(means) < 3 or squares == 0:
        return ()
    one = _grubbs_one(means, centre, squares)
    return (one, *_grubbs_two(means, squares)) if one.mark == "none" else (one,)


def _grubbs_one(means: Sequence[float], centre: float, squares: float) -> OutlierTest:
    distances = [abs(m - centre) / math.sqrt(squares / (len(means) - 1)) for m in means]
    limits = [grubbs_critical(alpha, len(means)) for alpha in (STRAGGLER, OUTLIER)]
    far = max(distances)
    return OutlierTest(
        name="Grubbs, one",
        statistic=far,
        critical_5=limits[0],
        critical_1=limits[1],
        mark=_mark(far > limits[0], far > limits[1]),
        indices=(distances.index(far),),
    )


def _grubbs_two(means: Sequence[float], squares: float) -> list[OutlierTest]:
    if len(means) not in _TWO_AT_ONE_END:
        return []
    order = sorted(range(len(means)), key=lambda i: means[i])
    limit_5, limit_1 = _TWO_AT_ONE_END[len(means)]
    found: list[OutlierTest] = []
    for name, pair in (("two highest", order[-2:]), ("two lowest", order[:2])):
        rest = [m for i, m in enumerate(means) if i not in pair]
        middle = math.fsum(rest) / len(rest)
        ratio = math.fsum((m - middle) ** 2 for m in rest) / squares
        mark = _mark(ratio < limit_5, ratio < limit_1)
        found.append(
            OutlierTest(
                name=f"Grubbs, {name}",
                statistic=ratio,
                critical_5=limit_5,
                critical_1=limit_1,
                mark=mark,
                indices=tuple(sorted(pair)),
            )
        )
    return found


def _mark(at_5: bool, at_1: bool) -> Mark:
    if at_1:
        return "outlier"
    return "straggler" if at_5 else "none"
