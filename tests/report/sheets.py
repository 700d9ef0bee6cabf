"""Sheets of made runs for the reports: real events and a real record, readings made up beside them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from logger.core.method import Method
from logger.core.readings import Channel, Quality, Reading
from logger.core.record import ChainHead, build_record
from logger.core.register.planned import PlannedSieve
from logger.core.run.commands import Command, Do
from logger.core.run.events import EventKind as E
from logger.core.run.plan import sha256_json
from logger.report.run_curves import run_curves
from logger.report.run_sheet import RunSheet
from tests.core.run.made_runs import SECOND, end, live_method, method, planned_engine

HEAD = ChainHead(7, "ab" * 32)


def sheet(
    chosen: Method | None = None,
    ended: E | None = E.ENDPOINT_REACHED,
    sieve: PlannedSieve | None = None,
    after_s: float = 0.0,
    **changes: Any,
) -> RunSheet:
    """An ended run; `ended` None aborts it before anything is weighed. `changes` go into the record's body."""
    chosen = chosen or method()
    engine = planned_engine(chosen, sieve, run_id="00000000-0000-7000-8000-000000000012", lot="L-3")
    if ended is None:
        engine.command(Command(Do.ABORT, "op-7", {"reason": "wrong sample"}), 0)
    else:
        end(engine.run, ended, after_s)
    events, facts = engine.take_events(), engine.run.facts
    readings = live_readings() if chosen.weighing.mode == "live" else pressure_readings()
    body = build_record("00000000-0000-7000-8000-000000000012", facts, HEAD).body() | changes
    return RunSheet(
        number=12, body=hashed(body), events=tuple(events), curves=run_curves(facts, events, readings)
    )


def live_sheet(ended: E = E.ENDPOINT_REACHED) -> RunSheet:
    """One weighed while the jet runs."""
    return sheet(live_method(), ended)


def hashed(body: dict[str, Any]) -> dict[str, Any]:
    """A record's body with the hash of its content."""
    rest = {name: value for name, value in body.items() if name != "record_sha256"}
    return rest | {"record_sha256": sha256_json(rest)}


def with_texts(found: RunSheet, text: str) -> RunSheet:
    """The same with one text in every place that a person types or scans."""
    body = dict(found.body)
    names = ("sample_id", "lot", "point", "sampled_at")
    body |= {"sample": dict.fromkeys(names, text), "operator_id": text, "reason": text}
    body |= {"deviations": [{"key": "note", "text": text}], "cautions_acknowledged_by": text}
    return replace(found, body=hashed(body))


def reading(channel: Channel, at_s: float, value: float) -> Reading:
    """One good reading."""
    return Reading(
        channel=channel, at_ns=round(at_s * SECOND), value=value, quality=Quality.OK, stable=True, raw=""
    )


def pressure_readings() -> list[Reading]:
    """2500 Pa with a ripple, four a second."""
    return [reading(Channel.PRESSURE, i / 4, 2500 + 20 * math.sin(i)) for i in range(-8, 400)]


def live_readings() -> list[Reading]:
    """A load that falls from 25 g to 1 g on a tare of 400 g, pressure beside it."""
    loads = [reading(Channel.MASS, i / 4 + 0.1, 401 + 24 * math.exp(-i / 40)) for i in range(-8, 400)]
    return sorted([*pressure_readings(), *loads], key=lambda r: r.at_ns)
