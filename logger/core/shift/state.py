"""Entries of the start of a shift, folded from the register's events."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from logger.core.register.events import RegisterEvent, RegisterKind

Part = Literal["bag", "filter"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PartChange:
    """A new bag or filter in the extractor. `note` may be empty."""

    utc: str
    by: str
    part: Part
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AirReading:
    """Air at the bench: °C and % relative humidity; `text` judges it by the bench's limits."""

    utc: str
    by: str
    temperature_c: float
    humidity_pct: float
    within: bool
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureZero:
    """What the pressure transducer showed with the suction off, Pa, and whether the bench allows it."""

    utc: str
    by: str
    zero_pa: float
    passed: bool
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill:
    """A backup was restored on trial. `note` says where and what came out of it."""

    utc: str
    by: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShiftState:
    """Everything entered at starts of shifts, oldest first, without what was withdrawn."""

    parts: tuple[PartChange, ...] = ()
    airs: tuple[AirReading, ...] = ()
    zeros: tuple[PressureZero, ...] = ()
    drills: tuple[Drill, ...] = ()


def _part(state: ShiftState, event: RegisterEvent) -> ShiftState:
    return replace(state, parts=(*state.parts, PartChange(utc=event.utc, by=event.by, **event.data)))


def _air(state: ShiftState, event: RegisterEvent) -> ShiftState:
    return replace(state, airs=(*state.airs, AirReading(utc=event.utc, by=event.by, **event.data)))


def _zero(state: ShiftState, event: RegisterEvent) -> ShiftState:
    return replace(state, zeros=(*state.zeros, PressureZero(utc=event.utc, by=event.by, **event.data)))


def _drill(state: ShiftState, event: RegisterEvent) -> ShiftState:
    return replace(state, drills=(*state.drills, Drill(utc=event.utc, by=event.by, **event.data)))


def _withdrawn(state: ShiftState, event: RegisterEvent) -> ShiftState:
    """The newest entry of the kind goes; who made it was checked when the correction was entered."""
    field = WITHDRAWABLE.get(RegisterKind(event.data["kind"]))
    return state if field is None else replace(state, **{field: getattr(state, field)[:-1]})


WITHDRAWABLE: dict[RegisterKind, str] = {
    RegisterKind.PART_CHANGED: "parts",
    RegisterKind.AIR_MEASURED: "airs",
    RegisterKind.PRESSURE_ZEROED: "zeros",
    RegisterKind.RESTORE_DRILLED: "drills",
}
"""Kinds of entry that a correcting entry may withdraw, and where they are kept."""

SHIFT_STEPS: dict[RegisterKind, Callable[[ShiftState, RegisterEvent], ShiftState]] = {
    RegisterKind.PART_CHANGED: _part,
    RegisterKind.AIR_MEASURED: _air,
    RegisterKind.PRESSURE_ZEROED: _zero,
    RegisterKind.RESTORE_DRILLED: _drill,
    RegisterKind.ENTRY_WITHDRAWN: _withdrawn,
}
