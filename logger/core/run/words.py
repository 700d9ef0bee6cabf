"""Events as sentences for the log on the screen and in reports."""

from __future__ import annotations

from typing import Any

from logger.core.run.events import Event
from logger.core.run.events import EventKind as E
from logger.core.snapshot import Level

_TEXTS: dict[E, str] = {
    E.CAUTIONS_ACKNOWLEDGED: "Cautions acknowledged by {name}.",
    E.CHECKS_PASSED: "Instruments alive; pressure at rest {zero_dp_pa:g} Pa.",
    E.PLATFORM_WEIGHED: "Platform without sieve {gross_g:g} g ({when} sieving).",
    E.SIEVE_READ: "Platform with sieve and residue {gross_g:g} g.",
    E.TARE_WEIGHED: "Empty sieve {gross_g:g} g.",
    E.CHARGE_REFUSED: "Charge {load_g:g} g is out of tolerance; weigh again.",
    E.CHARGE_WEIGHED: "Charge {load_g:g} g.",
    E.REST_BEGUN: "Rest of {rest_s:g} s before the jet.",
    E.BAND_REACHED: "Pressure in its band, {dp_pa} Pa: sieving.",
    E.BAND_LEFT: "Pressure left its band ({dp_pa} Pa): this time does not count.",
    E.BAND_REGAINED: "Pressure back in its band, {dp_pa} Pa.",
    E.INTERVAL_OVER: "Interval of {interval_s:.0f} s over; sieved {effective_s:.1f} s in all.",
    E.SUCTION_SEEN_ON: "Suction seen on.",
    E.SUCTION_SEEN_OFF: "Suction seen off after {elapsed_s:.1f} s, {effective_s:.1f} s effective.",
    E.PRESSURE_RELEASED: "Pressure has fallen ({how}).",
    E.LOAD_WEIGHED: "Load {load_g:g} g after {effective_s:.1f} s.",
    E.DECIDED: "{text}",
    E.ENDPOINT_REACHED: "Endpoint.",
    E.TIME_LIMIT_REACHED: "Time limit, not an endpoint: {reason}.",
    E.STOPPED: "Stopped by {by}: {reason}.",
    E.HELD: "Held by {by}: {reason}.",
    E.RESUMED: "Resumed by {by}: {reason}.",
    E.RESULT_DUE: "Residue weighed.",
    E.CLOSED: "Closed by {by}.",
    E.ABORTED: "Aborted by {by}: {reason}.",
    E.INVALIDATED: "Invalid: {reason}.",
    E.INTERRUPTED: "Interrupted: {reason}.",
    E.NOTED: "Note by {by}: {note} {text}",
    E.SIEVE_CARED: "{text} By {by}.",
    E.LINK_CHANGED: "{text}",
    E.ALARM_RAISED: "{text}",
    E.DEVIATION: "Deviation: {text}",
    E.RECORD_ISSUED: "Record revision {revision} issued, SHA-256 {sha256}.",
    E.REVIEWED: "Run {meaning} by {name} ({person_id}).",
    E.DECLARED_INVALID: "Declared invalid by {name}: {why}.",
    E.CLOCK_STEPPED: "Wall clock stepped by {step_s:g} s; durations are not touched.",
}

ALARM_NAMES = {
    "dp-high": "pressure too high",
    "dp-lost": "pressure lost",
    "dp-unknown": "pressure unknown",
    "dp-frozen": "pressure reading frozen",
    "dp-inverted": "pressure below zero",
    "dp-overload": "pressure beyond its range",
    "dp-not-falling": "pressure not falling",
    "band-not-reached": "pressure band not reached",
    "out-of-band": "pressure outside its band",
    "held-jet": "suction on while held",
    "balance-silent": "balance silent",
    "balance-overload": "balance overloaded",
    "balance-unstable": "balance not at rest",
    "balance-frozen": "balance reading frozen",
}
"""What is over, where the log says that an alarm was cleared."""

_LEVELS: dict[E, Level] = {
    E.CHARGE_REFUSED: "warning",
    E.BAND_LEFT: "warning",
    E.ENDPOINT_REACHED: "notice",
    E.TIME_LIMIT_REACHED: "warning",
    E.STOPPED: "warning",
    E.HELD: "warning",
    E.RESULT_COMPUTED: "notice",
    E.ABORTED: "warning",
    E.INVALIDATED: "alarm",
    E.INTERRUPTED: "alarm",
    E.DEVIATION: "warning",
    E.REVIEWED: "notice",
    E.CORRECTED: "warning",
    E.DECLARED_INVALID: "alarm",
    E.CLOCK_STEPPED: "warning",
}


def event_text(kind: E, data: dict[str, Any]) -> str:
    """One sentence."""
    if kind is E.RUN_PLANNED:
        return f"Run planned: sample {data['sample']['sample_id']}, method {data['method']['method']['id']}."
    if kind is E.DRAW_DOWN_BEGUN:
        target_s = data["interval_target_s"]
        return f"Next interval: {target_s:.0f} s." if target_s else "Draw-down."
    if kind is E.ALARM_CLEARED:
        return f"Cleared: {ALARM_NAMES.get(data['key'], data['key'])}."
    if kind is E.PERMIT_CHANGED:
        return f"Permit {'granted' if data['granted'] else 'withdrawn'}: {data['reason']}."
    if kind is E.CORRECTED:
        whats = ", ".join(change["what"] for change in data["changes"])
        return f"Corrected by {data['name']} ({whats}): {data['why']}."
    if kind is E.RESULT_COMPUTED:
        return _result_text(data)
    return _TEXTS[kind].format(**data)


def _result_text(data: dict[str, Any]) -> str:
    """The figures as reported; as weighed for a run of a version that knew no assessment."""
    assessed = data.get("assessment")
    if assessed is None:
        return f"Residue {data['residue_pct']:.2f} %, passing {data['passing_pct']:.2f} %."
    decision = assessed["decision"]
    after = f" Decision: {decision['text']}." if decision else f" No decision: {assessed['undecided']}."
    return f"{assessed['statement'][0].upper()}{assessed['statement'][1:]}.{after}"


def event_level(event: Event) -> Level:
    """How loud the event is."""
    if event.kind is E.ALARM_RAISED:
        level: Level = event.data["level"]
        return level
    if event.kind is E.LINK_CHANGED:
        return "info" if event.data["state"] == "up" else "alarm"
    return _LEVELS.get(event.kind, "info")
