"""What happened in a run: frozen, past-tense facts. They are the record; everything else is folded from them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class EventKind(StrEnum):
    """Every kind of fact. Stored as text, so names never change."""

    RUN_PLANNED = "run_planned"
    CAUTIONS_ACKNOWLEDGED = "cautions_acknowledged"
    CHECKS_PASSED = "checks_passed"
    PLATFORM_WEIGHED = "platform_weighed"
    """Live mode: the platform without the sieve, before and after; its shift is dust that stayed there."""
    TARE_WEIGHED = "tare_weighed"
    CHARGE_REFUSED = "charge_refused"
    CHARGE_WEIGHED = "charge_weighed"
    REST_BEGUN = "rest_begun"
    DRAW_DOWN_BEGUN = "draw_down_begun"
    SUCTION_SEEN_ON = "suction_seen_on"
    BAND_REACHED = "band_reached"
    BAND_LEFT = "band_left"
    BAND_REGAINED = "band_regained"
    INTERVAL_OVER = "interval_over"
    SUCTION_SEEN_OFF = "suction_seen_off"
    PRESSURE_RELEASED = "pressure_released"
    SIEVE_READ = "sieve_read"
    """Live mode: the platform with sieve and residue, suction off."""
    LOAD_WEIGHED = "load_weighed"
    DECIDED = "decided"
    ENDPOINT_REACHED = "endpoint_reached"
    TIME_LIMIT_REACHED = "time_limit_reached"
    STOPPED = "stopped"
    HELD = "held"
    RESUMED = "resumed"
    RESULT_DUE = "result_due"
    RESULT_COMPUTED = "result_computed"
    CLOSED = "closed"
    ABORTED = "aborted"
    INVALIDATED = "invalidated"
    INTERRUPTED = "interrupted"
    NOTED = "noted"
    SIEVE_CARED = "sieve_cared"
    """The sieve was inspected and cleaned, before or after the run; or deposits were seen on the lid."""
    LINK_CHANGED = "link_changed"
    ALARM_RAISED = "alarm_raised"
    ALARM_CLEARED = "alarm_cleared"
    DEVIATION = "deviation"
    PERMIT_CHANGED = "permit_changed"
    CLOCK_STEPPED = "clock_stepped"
    RECORD_ISSUED = "record_issued"
    REVIEWED = "reviewed"
    """After the end: a second person has signed, accepting or rejecting."""
    CORRECTED = "corrected"
    DECLARED_INVALID = "declared_invalid"


@dataclass(frozen=True, slots=True)
class Event:
    """One fact. `at_ns` bench clock, `utc` wall time; `data` holds plain JSON values with units in the keys."""

    kind: EventKind
    at_ns: int
    utc: str
    data: dict[str, Any]
