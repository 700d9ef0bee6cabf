"""A made run whose weighings were typed, so that they can be corrected."""

from __future__ import annotations

import dataclasses
from typing import Any

from logger.core.method import Method
from logger.core.record import ChainHead, build_record
from logger.core.review_steps import Standing
from logger.core.run.events import Event
from logger.core.run.events import EventKind as E
from logger.core.run.facts import fold
from tests.core.run.made_runs import end, method, planned_engine

WEIGHED = (E.TARE_WEIGHED, E.CHARGE_WEIGHED, E.LOAD_WEIGHED)
METHOD = method(endpoint=dataclasses.replace(method().endpoint, limit_pct_per_min=1.0))
"""The made run loses 0.6 %/min at its end: an endpoint by this limit."""


def typed_events(
    chosen: Method = METHOD, outcome: E = E.ENDPOINT_REACHED, *, typed: bool = True, **given: Any
) -> list[Event]:
    """The events of a whole run: 25 g, 1.00 g after 20 s, 0.95 g after 40 s."""
    engine = planned_engine(chosen, **given)
    end(engine.run, outcome)
    events = engine.take_events()
    if not typed:
        return events
    return [
        Event(event.kind, event.at_ns, event.utc, event.data | {"typed": True, "reason": "display broken"})
        if event.kind in WEIGHED
        else event
        for event in events
    ]


def standing(events: list[Event] | None = None) -> Standing:
    """Its record as a reviewer sees it."""
    known = events or typed_events()
    body = build_record("r", fold(known), ChainHead(4, "2" * 64)).body()
    return Standing(number=1, run_id="r", body=body, events=tuple(known), last_batch=4)
