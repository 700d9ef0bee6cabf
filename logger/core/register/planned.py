"""The sieve and its equipment as frozen into a run's plan, and as they come back from a kept plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from logger.core.correction import CorrectionFactor
from logger.core.register.state import factor_of
from logger.core.sieves import TestSieve


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSieve:
    """A registered sieve at the start of a run. `runs_before` counts the runs on it so far.

    `last_tare_g` is its last tare after cleaning, None when it was never entered.
    """

    sieve: TestSieve
    factor: CorrectionFactor | None
    runs_before: int
    last_tare_g: float | None
    last_tare_utc: str
    tare_allowed_g: float


def planned_sieve(data: Mapping[str, Any] | None) -> PlannedSieve | None:
    """The sieve from a plan's JSON values; None when the run had no registered sieve."""
    if data is None:
        return None
    factor = data["factor"]
    parts = {"sieve": TestSieve(**data["sieve"]), "factor": None if factor is None else factor_of(factor)}
    return PlannedSieve(**(dict(data) | parts))
