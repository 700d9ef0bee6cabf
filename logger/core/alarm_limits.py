"""Limits of the bench's alarms (bench file, table `alarms`)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from logger.core.method import STRICT


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmLimits:
    """Pressures in Pa, times in s.

    `dp_high_pa`: above it the lid and the sieve are overloaded (a blocked line can reach the extractor's
    shut-off pressure). `dp_low_grace_s`: how long pressure may be lost in a run before it is held.
    `release_timeout_s`: how long the pressure may take to fall after suction off. `lid_open_pa`: the lid
    may be opened below it.
    """

    __pydantic_config__: ClassVar[dict[str, Any]] = STRICT
    dp_high_pa: float = 6000.0
    dp_low_grace_s: float = 10.0
    release_timeout_s: float = 60.0
    lid_open_pa: float = 50.0

    def __post_init__(self) -> None:
        for name in ("dp_high_pa", "dp_low_grace_s", "release_timeout_s", "lid_open_pa"):
            if getattr(self, name) <= 0:
                raise ValueError(f"{name} must be above zero, not {getattr(self, name)}")
        if self.lid_open_pa >= self.dp_high_pa:
            raise ValueError("lid_open_pa must be far below dp_high_pa")
