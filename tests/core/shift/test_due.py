"""What is due, and in which order."""

from __future__ import annotations

from dataclasses import replace

from logger.core.register.events import RegisterKind
from logger.core.register.policy import CheckPolicy
from logger.core.register.state import RegisterState
from logger.core.shift.conditions import condition_notes, conditions_of
from logger.core.shift.due import DueItem, ShiftFacts, due_items
from logger.core.shift.policy import ShiftPolicy
from tests.core.register.entries import NOW, POLICY, Register, with_sieve
from tests.core.run.plans import interval_method

K = RegisterKind
SHIFT = ShiftPolicy(
    air_every_hours=8,
    zero_every_hours=12,
    bag_every_runs=20,
    bag_every_days=30,
    backup_every_days=7,
    drill_every_days=90,
)


def _due(
    state: RegisterState,
    facts: ShiftFacts | None = None,
    utc: str = NOW,
    shift: ShiftPolicy = SHIFT,
    checks: CheckPolicy = POLICY,
) -> dict[str, DueItem]:
    return {each.task: each for each in due_items(state, checks, shift, facts or ShiftFacts(), utc)}


def test_a_new_bench_is_told_everything_that_it_asks_for() -> None:
    found = due_items(RegisterState(), POLICY, SHIFT, ShiftFacts(needs_blank=True), NOW)
    assert [each.task for each in found if each.standing == "due"] == [
        "bag",
        "air",
        "zero",
        "blank",
        "backup",
        "drill",
    ]
    assert [each.standing for each in found][6:] == ["not asked", "not asked"]


def test_a_bench_that_asks_for_nothing_has_nothing_due() -> None:
    found = due_items(RegisterState(), CheckPolicy(), ShiftPolicy(), ShiftFacts(), NOW)
    assert {each.standing for each in found} == {"not asked"}


def test_hours_and_runs_make_a_task_due_again() -> None:
    register = Register()
    register.add(K.AIR_MEASURED, {"temperature_c": 21.5, "humidity_pct": 48.0})
    register.add(K.PRESSURE_ZEROED, {"zero_pa": 1.0})
    register.add(K.PART_CHANGED, {"part": "bag"})
    soon = _due(register.state, ShiftFacts(runs_since_part=19))
    assert {soon[task].standing for task in ("air", "zero", "bag")} == {"done"}
    later = _due(register.state, ShiftFacts(runs_since_part=20), "2026-02-01T14:00:01.000Z")
    assert (later["air"].standing, later["zero"].standing, later["bag"].standing) == ("due", "done", "due")
    assert "every 20 runs asked for" in later["bag"].text
    days = _due(register.state, utc="2026-03-04T06:00:00.000Z")
    assert "every 30 days asked for" in days["bag"].text


def test_what_failed_stands_first() -> None:
    register = Register()
    register.add(K.PRESSURE_ZEROED, {"zero_pa": 50.0})
    first = due_items(register.state, POLICY, SHIFT, ShiftFacts(), NOW)[0]
    assert (first.task, first.standing) == ("zero", "failed")
    limited = replace(SHIFT, humidity_max_pct=45.0)
    register.add(K.AIR_MEASURED, {"temperature_c": 21.5, "humidity_pct": 48.0})
    assert _due(register.state, shift=limited)["air"].standing == "done", "judged when it was entered"


def test_each_sieve_in_use_has_its_line_and_a_retired_one_has_none() -> None:
    checks = replace(POLICY, sieve_every_runs=100)
    register = with_sieve(checks)
    facts = ShiftFacts(sieve_runs={"S-45-01": 100})
    assert _due(register.state, facts, checks=checks)["sieve"].standing == "due"
    register.add(K.SIEVE_RETIRED, {"sieve_id": "S-45-01"}, why="torn")
    assert "sieve" not in _due(register.state, facts, checks=checks)


def test_an_old_blank_run_and_an_old_backup() -> None:
    facts = ShiftFacts(
        rig_measured_utc="2025-10-01T06:00:00Z", rig_valid_days=90, backup_utc="2026-01-20T06:00:00Z"
    )
    found = _due(RegisterState(), facts)
    assert (found["blank"].standing, found["backup"].standing) == ("due", "due")
    fresh = replace(facts, rig_measured_utc="2026-01-20", backup_utc="2026-01-30T06:00:00Z")
    found = _due(RegisterState(), fresh)
    assert (found["blank"].standing, found["backup"].standing) == ("done", "done")


def test_a_run_takes_the_air_of_its_shift_and_the_age_of_the_bag() -> None:
    register = Register()
    assert conditions_of(register.state.shift, SHIFT, NOW, 0) is None
    register.add(K.AIR_MEASURED, {"temperature_c": 21.5, "humidity_pct": 72.0})
    register.add(K.PART_CHANGED, {"part": "bag"})
    found = conditions_of(register.state.shift, SHIFT, "2026-02-01T13:59:00.000Z", 4)
    assert found is not None
    assert (found.temperature_c, found.humidity_pct, found.part, found.part_runs) == (21.5, 72.0, "bag", 4)
    old = conditions_of(register.state.shift, SHIFT, "2026-02-01T14:01:00.000Z", 4)
    assert old is not None
    assert (old.temperature_c, old.part) == (None, "bag")


def test_air_that_the_method_does_not_allow_is_a_deviation() -> None:
    register = Register()
    register.add(K.AIR_MEASURED, {"temperature_c": 21.5, "humidity_pct": 72.0})
    found = conditions_of(register.state.shift, SHIFT, NOW, 0)
    method = interval_method()
    assert condition_notes(method, found) == []
    dry = replace(method, preparation=replace(method.preparation, humidity_max_pct=65.0))
    assert condition_notes(dry, found)[0][0] == "humidity-outside"
    assert condition_notes(dry, None) == []
