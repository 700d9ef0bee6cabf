"""Air and extractor as a run finds them: frozen into its plan, from the newest entries of the register."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from logger.core.method import Method
from logger.core.shift.policy import ShiftPolicy
from logger.core.shift.state import ShiftState

AIR_HOURS = 12.0
"""Air that was measured longer ago than a shift is not the air of the run; the bench may set less or more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Temperature in °C, relative humidity in %, and the extractor's newest part; None where not known.

    `part_runs` counts the runs since the part was changed, this one not included.
    """

    temperature_c: float | None = None
    humidity_pct: float | None = None
    air_measured_at: str | None = None
    air_measured_by: str | None = None
    part: str | None = None
    part_changed_at: str | None = None
    part_runs: int | None = None


def conditions_of(
    state: ShiftState, policy: ShiftPolicy, utc: str, runs_since_part: int
) -> Conditions | None:
    """What is known now; None when nothing is."""
    air = state.airs[-1] if state.airs else None
    if air is not None and _hours(air.utc, utc) > (policy.air_every_hours or AIR_HOURS):
        air = None
    part = state.parts[-1] if state.parts else None
    if air is None and part is None:
        return None
    return Conditions(
        temperature_c=None if air is None else air.temperature_c,
        humidity_pct=None if air is None else air.humidity_pct,
        air_measured_at=None if air is None else air.utc,
        air_measured_by=None if air is None else air.by,
        part=None if part is None else part.part,
        part_changed_at=None if part is None else part.utc,
        part_runs=None if part is None else runs_since_part,
    )


def condition_notes(method: Method, found: Conditions | None) -> list[tuple[str, str]]:
    """Deviations: air that the method does not allow. A method that sets no limits has none."""
    wanted = method.preparation
    if found is None or found.humidity_pct is None:
        return []
    if wanted.humidity_min_pct <= found.humidity_pct <= wanted.humidity_max_pct:
        return []
    limits = f"{wanted.humidity_min_pct:g} to {wanted.humidity_max_pct:g} %"
    text = f"The humidity is {found.humidity_pct:g} %, the method allows {limits}."
    return [("humidity-outside", text)]


def _hours(earlier_utc: str, utc: str) -> float:
    return (datetime.fromisoformat(utc) - datetime.fromisoformat(earlier_utc)).total_seconds() / 3600
