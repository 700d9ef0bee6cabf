"""From what a person typed at the start of a shift to an entry of the register, judged on the way."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from logger.core.refusal import ResultError, require, require_finite
from logger.core.register.events import RegisterKind
from logger.core.register.policy import CheckPolicy
from logger.core.shift.policy import ShiftPolicy
from logger.core.shift.state import WITHDRAWABLE, ShiftState
from logger.core.shift.words import KIND_WORDS
from logger.core.text import clean_text

TEMPERATURE_C = (-20.0, 60.0)
"""No bench stands in air outside this range; a figure beyond it is a slip (common practice)."""
HUMIDITY_PCT = (0.0, 100.0)
ZERO_MOST_PA = 1000.0
"""More than this is no zero: the suction is on, or the figure is of something else."""
WITHDRAW_S = 3600.0
"""An entry counts as just made for this long; later a new entry corrects it."""
_NOTE = 200


def part_changed(entry: Mapping[str, Any]) -> dict[str, Any]:
    """A new bag or filter. Raises `ResultError`."""
    part = entry.get("part")
    require(part in ("bag", "filter"), f"part must be bag or filter, not {part!r}")
    return {"part": part, "note": clean_text("note", entry.get("note", ""), _NOTE)}


def air_measured(entry: Mapping[str, Any], policy: ShiftPolicy) -> dict[str, Any]:
    """Temperature and humidity at the bench. Raises `ResultError` for what no bench has."""
    temperature_c = _within(entry, "temperature_c", *TEMPERATURE_C, "°C")
    humidity_pct = _within(entry, "humidity_pct", *HUMIDITY_PCT, "%")
    faults = policy.air_faults(temperature_c, humidity_pct)
    words = f"{temperature_c:g} °C, {humidity_pct:g} % relative humidity"
    text = "; ".join([words, *faults])
    return {
        "temperature_c": temperature_c,
        "humidity_pct": humidity_pct,
        "within": not faults,
        "text": text,
    }


def pressure_zeroed(entry: Mapping[str, Any], checks: CheckPolicy) -> dict[str, Any]:
    """What the transducer shows with the suction off. Raises `ResultError` for what is no zero."""
    zero_pa = _within(entry, "zero_pa", -ZERO_MOST_PA, ZERO_MOST_PA, "Pa")
    allowed_pa = checks.pressure_zero_tolerance_pa
    passed = allowed_pa is None or abs(zero_pa) <= allowed_pa
    limit = "no tolerance is set" if allowed_pa is None else f"{allowed_pa:g} Pa allowed"
    advice = "" if passed else ": zero the transducer, look at its hoses, and take the zero again"
    return {"zero_pa": zero_pa, "passed": passed, "text": f"zero {zero_pa:+.1f} Pa, {limit}{advice}"}


def restore_drilled(entry: Mapping[str, Any]) -> dict[str, Any]:
    """A backup was restored on trial. Raises `ResultError` without a note."""
    note = clean_text("note", entry.get("note", ""), _NOTE)
    require(bool(note), "say which backup was restored, where, and what came out of it")
    return {"note": note}


def entry_withdrawn(entry: Mapping[str, Any], state: ShiftState, utc: str, why: str) -> dict[str, Any]:
    """The newest entry of a kind does not stand. Raises `ResultError` for one that cannot be withdrawn."""
    known = ", ".join(kind.value for kind in WITHDRAWABLE)
    name = entry.get("kind")
    require(name in list(WITHDRAWABLE), f"only these can be withdrawn: {known}; not {name!r}")
    kind = RegisterKind(str(name))
    made = getattr(state, WITHDRAWABLE[kind])
    require(bool(made), f"there is no entry {KIND_WORDS[kind]} to withdraw")
    require(bool(why), "say why the entry is withdrawn")
    age_s = (datetime.fromisoformat(utc) - datetime.fromisoformat(made[-1].utc)).total_seconds()
    require(
        age_s <= WITHDRAW_S,
        f"the entry of {made[-1].utc[:16]} was made over an hour ago and stays: make a new one that is right",
    )
    return {"kind": kind.value, "entered_utc": made[-1].utc, "entered_by": made[-1].by}


def _within(entry: Mapping[str, Any], name: str, least: float, most: float, unit: str) -> float:
    value = entry.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ResultError(f"{name} must be a number, not {value!r}")
    require_finite(**{name: value})
    require(least <= value <= most, f"{name} must be {least:g} to {most:g} {unit}, not {value:g}")
    return float(value)
