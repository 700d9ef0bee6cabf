"""How often the tasks at the start of a shift are asked for on a bench, and the air that it allows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from logger.core.method import STRICT
from logger.core.refusal import require

_POSITIVE = (
    "air_every_hours",
    "zero_every_hours",
    "bag_every_runs",
    "bag_every_days",
    "backup_every_days",
    "drill_every_days",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftPolicy:
    """Table `[shift]` of the bench file. What is left out is not asked for; nothing here stops a run.

    Hours and days are of wall time, runs are runs started on this bench. Temperature in °C, relative
    humidity in %. The zero's tolerance is `pressure_zero_tolerance_pa` of `[checks]`.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    air_every_hours: float | None = None
    zero_every_hours: float | None = None
    bag_every_runs: int | None = None
    bag_every_days: float | None = None
    backup_every_days: float | None = None
    drill_every_days: float | None = None
    temperature_min_c: float | None = None
    temperature_max_c: float | None = None
    humidity_min_pct: float | None = None
    humidity_max_pct: float | None = None

    def __post_init__(self) -> None:
        for name in _POSITIVE:
            value = getattr(self, name)
            require(value is None or value > 0, f"{name} must be above zero, not {value}")
        for low, high in (
            ("temperature_min_c", "temperature_max_c"),
            ("humidity_min_pct", "humidity_max_pct"),
        ):
            least, most = getattr(self, low), getattr(self, high)
            require(least is None or most is None or least < most, f"{low} must be below {high}")

    def air_faults(self, temperature_c: float, humidity_pct: float) -> list[str]:
        """What the bench does not allow in this air, half sentences."""
        return [
            *_outside("temperature", temperature_c, self.temperature_min_c, self.temperature_max_c, "°C"),
            *_outside("humidity", humidity_pct, self.humidity_min_pct, self.humidity_max_pct, "%"),
        ]


def _outside(what: str, value: float, least: float | None, most: float | None, unit: str) -> list[str]:
    if least is not None and value < least:
        return [f"{what} {value:g} {unit} is below {least:g} {unit}"]
    if most is not None and value > most:
        return [f"{what} {value:g} {unit} is above {most:g} {unit}"]
    return []
