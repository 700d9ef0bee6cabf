"""When the value moved and when it stood still, and which marks of the line say the same."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

STEADY_S: Final = 1.0
"""So long before and after, the value must stand still for a line to be surely steady."""
STEADY_SHARE: Final = 0.01
"""Flicker up to this share of the whole reach is no movement."""
GLIDE_S: Final = 0.4
GLIDE_SHARE: Final = 0.03
"""Going one way through so much of the reach in `GLIDE_S`, and again, is movement."""
LEAST_MOVING: Final = 3
LEAST_STEADY: Final = 8


@dataclass(frozen=True, slots=True)
class Movement:
    """For each line whether the value surely moved, or surely stood still; neither is possible."""

    moving: tuple[bool, ...]
    steady: tuple[bool, ...]


def movement(values: Sequence[float], times_s: Sequence[float], digit: float) -> Movement:
    """Judges each line by its neighbours. `digit` is one step of the last digit, in the unit of `values`.

    It moved where it leapt, or went one way through a part of its whole reach; a pressure does so among flicker.
    """
    jumps = [abs(b - a) for a, b in itertools.pairwise(values)] or [0.0]
    noise = sorted(jumps)[len(jumps) // 4]
    reach = max(values) - min(values)
    leaps = [False, *(jump > max(10 * digit, 20 * noise) for jump in jumps)][: len(values)]
    around = zip(values, _near(values, times_s, GLIDE_S), strict=True)
    glides = [_glides(near[0], value, near[-1], GLIDE_SHARE * reach) for value, near in around]
    moving = [leapt or gliding for leapt, gliding in zip(leaps, glides, strict=True)]
    small = max(3.2 * digit, 6 * noise, STEADY_SHARE * reach)
    steady = [max(near) - min(near) <= small for near in _near(values, times_s, STEADY_S)]
    return Movement(tuple(moving), tuple(steady))


def _near(values: Sequence[float], times_s: Sequence[float], within_s: float) -> Iterator[Sequence[float]]:
    """For each line the values of its neighbours in time, two on either side at least."""
    low = high = 0
    for i, at_s in enumerate(times_s):
        while times_s[low] < at_s - within_s:
            low += 1
        while high < len(times_s) and times_s[high] <= at_s + within_s:
            high += 1
        yield values[max(0, min(low, i - 2)) : max(high, i + 3)]


def _glides(before: float, value: float, after: float, far: float) -> bool:
    """Whether it went one way, from a good while before to a good while after."""
    return min(value - before, after - value) >= far > 0 or min(before - value, value - after) >= far > 0


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
            and share(stable, moved.steady, n_steady) >= 0.5
            and _clear_of_chance(texts, moved)
        ):
            return [stable], [unstable]
    return None


def _clear_of_chance(texts: Sequence[str], moved: Movement) -> bool:
    """A mark that merely stayed the same through all of the movement says nothing: it must come back."""
    changes = sum(a != b for a, b in itertools.pairwise(texts))
    runs = sum(a and not b for a, b in zip(moved.moving, (*moved.moving[1:], False), strict=False))
    return changes >= 2 and runs >= 1
