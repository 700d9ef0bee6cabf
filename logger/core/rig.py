"""What a blank run (empty sieve, jet on) has measured of a rig. See endpoint.py for how it is used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from logger.core.method import STRICT


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """Balance and suction as found by the blank run. What is None is estimated in the run, with less power."""

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    readability_g: float
    coupling_g_per_kpa: float | None = None
    coupling_u_g_per_kpa: float | None = None
    coupling2_g_per_kpa2: float | None = None
    flicker_rms_g: float | None = None
    white_sd_g: float | None = None
    nozzle_rpm: float | None = None
    sample_hz: float | None = None
    dp_min_pa: float | None = None
    dp_max_pa: float | None = None
    dead_load_g: float | None = None
    capacity_g: float | None = None
    balance_id: str | None = None
    measured_at: str | None = None
    valid_days: float | None = None

    def __post_init__(self) -> None:
        if self.readability_g <= 0:
            raise ValueError(f"readability_g must be above zero, not {self.readability_g}")
        for name in ("flicker_rms_g", "white_sd_g", "coupling_u_g_per_kpa"):
            value = getattr(self, name)
            if value is not None and value < 0:
                raise ValueError(f"{name} must not be negative, is {value}")
