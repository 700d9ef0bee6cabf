"""When the value moved and when it stood still, and which marks of the line say the same."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

STEADY_S: Final = 1.0
"""So long before and after, the value must stand still for a line to be surely steady."""
LEAST_MOVING: Final = 3
LEAST_STEADY: Final = 8


@dataclass(frozen=True, slots=True)
class Movement:
    """For each line whether the value surely moved, or surely stood still; neither is possible."""

    moving: tuple[bool, ...]
    steady: tuple[bool, ...]


def movement(values: Sequence[float], times_s: Sequence[float], digit: float) -> Movement:
    """Judges each line by its neighbours. `digit` is one step of the last digit, in the unit of `values`."""
    jumps = [abs(b - a) for a, b in itertools.pairwise(values)] or [0.0]
    noise = sorted(jumps)[len(jumps) // 2]
    small, large = max(3.2 * digit, 6 * noise), max(10 * digit, 20 * noise)
    moving = [False, *(jump > large for jump in jumps)]
    steady: list[bool] = []
    low = high = 0
    for i, at_s in enumerate(times_s):
        while times_s[low] < at_s - STEADY_S:
            low += 1
        while high < len(times_s) and times_s[high] <= at_s + STEADY_S:
            high += 1
        near = values[max(0, min(low, i - 2)) : max(high, i + 3)]
        steady.append(max(near) - min(near) <= small)
    return Movement(tuple(moving[: len(values)]), tuple(steady))


def stability_marks(
    texts: Sequence[str], moved: Movement, below_zero: Sequence[bool]
) -> tuple[list[str], list[str]] | None:
    """The texts for stable and for moving, None when the place does not follow the movement.

    A place that follows the sign of the value (`below_zero`, a line each) has to do with that.
    """
    different = sorted(set(texts))
    n_moving, n_steady = sum(moved.moving), sum(moved.steady)
    if len(different) != 2 or n_moving < LEAST_MOVING or n_steady < LEAST_STEADY:
        return None
    first = [text == different[0] for text in texts]
    if first == list(below_zero) or first == [not below for below in below_zero]:
        return None

    def share(text: str, where: Sequence[bool], count: int) -> float:
        return sum(t == text and w for t, w in zip(texts, where, strict=True)) / count

    for stable, unstable in (different, different[::-1]):
        if (
            share(unstable, moved.moving, n_moving) >= 0.9
            and share(stable, moved.steady, n_steady) >= 0.6
            and _clear_of_chance(texts, moved)
        ):
            return [stable], [unstable]
    return None


def _clear_of_chance(texts: Sequence[str], moved: Movement) -> bool:
    """A mark that merely stayed the same through all of the movement says nothing: it must come back."""
    changes = sum(a != b for a, b in itertools.pairwise(texts))
    runs = sum(a and not b for a, b in zip(moved.moving, (*moved.moving[1:], False), strict=False))
    return changes >= 2 and runs >= 1
