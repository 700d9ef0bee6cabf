"""The one way the result side says no: a sentence for the person at the bench, never a figure."""

from __future__ import annotations

import math


class ResultError(ValueError):
    """A figure that could not be stood behind. The text says what is wrong and what to do."""


def require(condition: bool, sentence: str) -> None:
    """Raise `ResultError` with the sentence unless the condition holds."""
    if not condition:
        raise ResultError(sentence)


def require_finite(**values: float) -> None:
    """Raise `ResultError` naming the first value that is not an ordinary number."""
    for name, value in values.items():
        require(math.isfinite(value), f"{name} is not a number ({value}): read or enter it again")


def require_not_negative(**values: float) -> None:
    """Raise `ResultError` naming the first value that is below zero or not an ordinary number."""
    require_finite(**values)
    for name, value in values.items():
        require(value >= 0, f"{name} must not be negative, is {value}")
