"""Entries of the start of a shift: judged, kept with who and when, and withdrawn by an entry of their own."""

from __future__ import annotations

from typing import Any

import pytest

from logger.core.refusal import ResultError
from logger.core.register.enter import enter
from logger.core.register.events import RegisterEvent, RegisterKind
from logger.core.run.commands import Refused
from logger.core.shift.policy import ShiftPolicy
from logger.core.shift.words import shift_text
from tests.core.register.entries import BALANCE, NOW, POLICY, Register

K = RegisterKind
AIR = {"temperature_c": 21.5, "humidity_pct": 48.0}


def test_air_is_kept_with_units_and_judged_by_the_bench() -> None:
    register = Register()
    event = register.add(K.AIR_MEASURED, AIR)
    air = register.state.shift.airs[-1]
    assert (air.temperature_c, air.humidity_pct, air.by, air.utc) == (21.5, 48.0, "op-7", NOW)
    assert air.within
    assert shift_text(event) == "21.5 °C, 48 % relative humidity."
    limited = _enter(K.AIR_MEASURED, AIR, shift=ShiftPolicy(humidity_max_pct=45.0))
    assert limited.data["within"] is False
    assert "humidity 48 % is above 45 %" in limited.data["text"]


@pytest.mark.parametrize(
    "entry",
    [
        {"temperature_c": 121.5, "humidity_pct": 48.0},
        {"temperature_c": 21.5, "humidity_pct": 100.5},
        {"temperature_c": float("nan"), "humidity_pct": 48.0},
        {"temperature_c": "21.5", "humidity_pct": 48.0},
        {"temperature_c": True, "humidity_pct": 48.0},
        {"humidity_pct": 48.0},
    ],
)
def test_air_that_no_bench_has_is_refused(entry: dict[str, Any]) -> None:
    with pytest.raises(ResultError):
        Register().add(K.AIR_MEASURED, entry)


def test_a_zero_is_judged_by_the_tolerance_of_the_checks() -> None:
    register = Register()
    assert register.add(K.PRESSURE_ZEROED, {"zero_pa": 9.9}).data["passed"] is True
    failed = register.add(K.PRESSURE_ZEROED, {"zero_pa": -12.0})
    assert failed.data["passed"] is False
    assert shift_text(failed).startswith("FAILED: zero -12.0 Pa, 10 Pa allowed")
    with pytest.raises(ResultError, match="zero_pa must be -1000 to 1000 Pa"):
        register.add(K.PRESSURE_ZEROED, {"zero_pa": 2500.0})


def test_bag_and_filter_and_nothing_else() -> None:
    register = Register()
    register.add(K.PART_CHANGED, {"part": "filter", "note": "torn"})
    assert (register.state.shift.parts[-1].part, register.state.shift.parts[-1].note) == ("filter", "torn")
    with pytest.raises(ResultError, match="bag or filter"):
        register.add(K.PART_CHANGED, {"part": "hose"})
    with pytest.raises(Refused, match="cannot be printed"):
        register.add(K.PART_CHANGED, {"part": "bag", "note": "a\x1b[2J"})


def test_a_drill_needs_its_story() -> None:
    with pytest.raises(ResultError, match="which backup"):
        Register().add(K.RESTORE_DRILLED, {"note": "  "})


def test_an_entry_just_made_is_withdrawn_and_both_stay_in_the_register() -> None:
    register = Register()
    register.add(K.AIR_MEASURED, AIR)
    register.add(K.AIR_MEASURED, AIR | {"humidity_pct": 84.0})
    event = register.add(K.ENTRY_WITHDRAWN, {"kind": "air_measured"}, why="digits turned")
    assert [air.humidity_pct for air in register.state.shift.airs] == [48.0]
    assert event.data == {"kind": "air_measured", "entered_utc": NOW, "entered_by": "op-7"}
    assert len(register.events) == 3


def test_what_cannot_be_withdrawn() -> None:
    register = Register()
    with pytest.raises(ResultError, match="there is no entry temperature and humidity"):
        register.add(K.ENTRY_WITHDRAWN, {"kind": "air_measured"})
    with pytest.raises(ResultError, match="only these can be withdrawn"):
        register.add(K.ENTRY_WITHDRAWN, {"kind": "balance_checked"})
    register.add(K.AIR_MEASURED, AIR)
    with pytest.raises(ResultError, match="say why"):
        register.add(K.ENTRY_WITHDRAWN, {"kind": "air_measured"}, why="")
    with pytest.raises(ResultError, match="over an hour ago"):
        register.add(K.ENTRY_WITHDRAWN, {"kind": "air_measured"}, utc="2026-02-01T07:00:01.000Z")


def test_a_policy_that_cannot_be_meant() -> None:
    with pytest.raises(ResultError, match="air_every_hours must be above zero"):
        ShiftPolicy(air_every_hours=0)
    with pytest.raises(ResultError, match="humidity_min_pct must be below humidity_max_pct"):
        ShiftPolicy(humidity_min_pct=60.0, humidity_max_pct=40.0)


def _enter(kind: RegisterKind, entry: dict[str, Any], shift: ShiftPolicy) -> RegisterEvent:
    state = Register().state
    return enter(
        kind, entry, by="op-7", why="", utc=NOW, state=state, policy=POLICY, balance=BALANCE, shift=shift
    )
