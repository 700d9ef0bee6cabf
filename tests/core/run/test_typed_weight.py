"""A weight that is typed: the record says by whom, who need not be the operator, and why."""

from __future__ import annotations

import pytest

from logger.core.run.commands import Command, Do, Reply
from logger.core.run.engine import RunEngine
from logger.core.run.events import EventKind as E
from logger.core.run.view import run_view
from tests.core.run.made_runs import method, planned_engine


@pytest.fixture
def engine() -> RunEngine:
    """Where the empty sieve is weighed."""
    made = planned_engine(method())
    made.run.emit(E.CAUTIONS_ACKNOWLEDGED, 1, name="op-7")
    made.run.emit(E.CHECKS_PASSED, 2, zero_dp_pa=0.0)
    made.take_events()
    return made


def _type(engine: RunEngine, mass_g: float, by: str) -> Reply:
    return engine.command(Command(Do.TYPE_WEIGHT, by, {"mass_g": mass_g, "reason": "display broken"}), 3)


def test_event_and_record_say_who_typed_it(engine: RunEngine) -> None:
    assert _type(engine, 400.0, "bruno").ok
    (weighed,) = [event for event in engine.take_events() if event.kind is E.TARE_WEIGHED]
    assert weighed.data == {"gross_g": 400.0, "typed": True, "by": "bruno", "reason": "display broken"}
    assert engine.run.facts.deviations == [
        {"key": "typed-weight", "text": "A weight was typed by bruno, not read: 400 g (display broken)."}
    ]
    assert run_view(engine, "r", 3).operator_id == "op-7"


def test_a_typed_weight_that_is_refused_is_no_deviation(engine: RunEngine) -> None:
    assert _type(engine, 400.0, "bruno").ok
    assert "take powder off" in _type(engine, 450.0, "carla").text.lower()
    assert [entry["text"] for entry in engine.run.facts.deviations] == [
        "A weight was typed by bruno, not read: 400 g (display broken)."
    ]
