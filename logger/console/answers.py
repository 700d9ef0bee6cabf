"""Reads answers of the service: whatever is not what was expected is taken as nothing, and never raises."""

from __future__ import annotations

import math
from typing import Any

from logger.console.literal import literal


def dict_of(value: Any) -> dict[str, Any]:
    """The value when it is an object, else an empty one."""
    return value if isinstance(value, dict) else {}


def list_of(value: Any) -> list[Any]:
    """The value when it is a list, else an empty one."""
    return value if isinstance(value, list) else []


def dicts_of(value: Any) -> list[dict[str, Any]]:
    """The objects in a list."""
    return [each for each in list_of(value) if isinstance(each, dict)]


def number_of(value: Any) -> float | None:
    """A finite number."""
    good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    return float(value) if good else None


def whole_of(value: Any) -> int:
    """A whole number, 0 when it is none."""
    return value if isinstance(value, int) and not isinstance(value, bool) else 0


def text_of(value: Any, limit: int = 400) -> str:
    """A text made safe to show; numbers as they are, empty for anything else."""
    if isinstance(value, str):
        return literal(value, limit)
    return f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else ""


def points_of(value: Any) -> list[tuple[float, float]]:
    """Pairs of finite numbers, in order of the first."""
    pairs = [each for each in list_of(value) if isinstance(each, list | tuple) and len(each) == 2]
    found = [(number_of(x), number_of(y)) for x, y in pairs]
    good = [(x, y) for x, y in found if x is not None and y is not None]
    return sorted(good, key=lambda point: point[0])
