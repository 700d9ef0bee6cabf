"""What the register lets start: sieve, checks, and a method revision that stays what it was."""

from __future__ import annotations

import dataclasses
from typing import Any, Literal

import pytest

from logger.core.method import Determinations, Method, Sieve
from logger.core.readings import Channel, Quality, Reading
from logger.core.register.events import RegisterKind as K
from logger.core.register.look import RegisterLook
from logger.core.register.policy import CheckPolicy
from logger.core.run.commands import Refused
from logger.core.run.engine import RunEngine
from logger.core.run.events import EventKind as E
from logger.core.run.plan import RunPlan, plain_json
from logger.core.run.start_equipment import Equipment, check_equipment, check_revision
from logger.core.run.weigh import Typed, take_weight
from tests.core.register.entries import NOW, SIEVE, WEIGHTS, Register, with_sieve
from tests.core.run.made_runs import PLANNED, planned, planned_engine
from tests.core.run.plans import interval_method


def check(
    args: dict[str, Any],
    register: Register | None = None,
    policy: CheckPolicy | None = None,
    method: Method | None = None,
    **look: Any,
) -> Equipment:
    state = (register or with_sieve()).state
    return check_equipment(
        method or interval_method(), args, RegisterLook(state=state, **look), policy or CheckPolicy(), NOW
    )


def keys(found: Equipment) -> list[str]:
    return [key for key, _ in found.notes]


def test_a_registered_sieve_is_frozen_with_runs_tare_and_factor() -> None:
    found = check({"sieve_id": "S-45-01"}, sieve_runs=7, policy=CheckPolicy(tare_allowed_g=0.02))
    assert found.sieve is not None
    assert (found.sieve.runs_before, found.sieve.last_tare_g, found.sieve.tare_allowed_g) == (7, 412.02, 0.02)
    assert found.sieve.factor is not None
    assert (keys(found), found.aperture_um) == ([], 45.0)
    assert [fitness.what for fitness in found.fitness] == ["balance", "pressure", "sieve"]


def test_no_sieve_and_an_unknown_one_are_deviations() -> None:
    assert keys(check({})) == ["sieve-not-named"]
    found = check({"sieve_id": "S-99"})
    assert (keys(found), found.sieve, found.sieve_id) == (["sieve-not-registered"], None, "S-99")


def test_a_correcting_method_on_a_sieve_without_factor_is_a_deviation() -> None:
    bare = Register()
    bare.add(K.SIEVE_ADDED, SIEVE)
    correcting = dataclasses.replace(
        interval_method(), sieve=Sieve(aperture_um=45.0, correction="reference-powder")
    )
    assert keys(check({"sieve_id": "S-45-01"}, bare, method=correcting)) == ["sieve-without-factor"]
    assert keys(check({"sieve_id": "S-45-01"}, bare)) == []


def test_frame_aperture_and_retirement_block() -> None:
    register = with_sieve()
    register.add(K.SIEVE_ADDED, SIEVE | {"id": "S-8in", "frame_mm": 203.0})
    register.add(K.SIEVE_ADDED, SIEVE | {"id": "S-63", "aperture_um": 63.0})
    register.add(K.SIEVE_ADDED, SIEVE | {"id": "S-old"})
    register.add(K.SIEVE_RETIRED, {"sieve_id": "S-old"}, why="torn")
    for sieve_id, words in (
        ("S-8in", "frame is 203 mm, the method asks for 200 mm"),
        ("S-63", "aperture is 63 µm, the method asks for 45 µm"),
        ("S-old", "retired \\(torn\\)"),
    ):
        with pytest.raises(Refused, match=words):
            check({"sieve_id": sieve_id}, register)


def test_of_several_apertures_the_named_sieve_picks_its_own() -> None:
    register = with_sieve()
    register.add(K.SIEVE_ADDED, SIEVE | {"id": "S-63", "aperture_um": 63.0})
    several = dataclasses.replace(interval_method(), sieve=Sieve(apertures_um=(45.0, 63.0)))
    assert check({"sieve_id": "S-63"}, register, method=several).aperture_um == 63.0
    assert check({}, register, method=several).aperture_um == 45.0
    with pytest.raises(Refused, match="the method asks for 45 µm"):
        check({"sieve_id": "S-63", "aperture_um": 45.0}, register, method=several)


OVERDUE: list[Literal["warns", "blocks"]] = ["warns", "blocks"]


@pytest.mark.parametrize("overdue", OVERDUE)
def test_an_overdue_check_warns_or_blocks_as_the_bench_says(overdue: Literal["warns", "blocks"]) -> None:
    for policy, runs, key in (
        (CheckPolicy(overdue=overdue, weights=WEIGHTS, balance_every_hours=1.0), 0, "balance-check-due"),
        (CheckPolicy(overdue=overdue, pressure_every_days=1), 0, "pressure-check-due"),
        (CheckPolicy(overdue=overdue, sieve_every_runs=5), 5, "sieve-check-due"),
    ):
        if overdue == "warns":
            assert keys(check({"sieve_id": "S-45-01"}, policy=policy, sieve_runs_since_check=runs)) == [key]
        else:
            with pytest.raises(Refused, match="check is due"):
                check({"sieve_id": "S-45-01"}, policy=policy, sieve_runs_since_check=runs)


def test_a_failed_check_blocks_whatever_the_bench_says() -> None:
    register = with_sieve()
    register.add(K.BALANCE_CHECKED, {"weight_id": "W-200", "zero_g": 0.0, "reading_g": 201.0})
    with pytest.raises(Refused, match="The last balance check failed"):
        check({"sieve_id": "S-45-01"}, register)


def test_notes_and_a_wrong_zero_become_deviations_when_the_run_begins() -> None:
    engine = planned_engine(interval_method())
    bench = dataclasses.replace(engine.run.plan.bench, checks=CheckPolicy(pressure_zero_tolerance_pa=20.0))
    plan = dataclasses.replace(engine.run.plan, bench=bench, notes=(("sieve-not-named", "No sieve."),))
    for zero_pa, expected in ((20.0, ["sieve-not-named"]), (21.0, ["sieve-not-named", "pressure-zero"])):
        assert deviations_at_start(plan, zero_pa) == expected


def deviations_at_start(plan: RunPlan, zero_pa: float) -> list[str]:
    engine = RunEngine(plan, 0, lambda: NOW)
    engine.run.emit(E.CAUTIONS_ACKNOWLEDGED, 0, name="op-7")
    for tenth in range(1, 40):
        for channel, value in ((Channel.MASS, 0.0), (Channel.PRESSURE, zero_pa)):
            engine.on_reading(
                Reading(
                    channel=channel,
                    at_ns=tenth * 100_000_000,
                    value=value,
                    quality=Quality.OK,
                    stable=True,
                    raw="",
                )
            )
    return [entry["key"] for entry in engine.run.facts.deviations]


@pytest.mark.parametrize(
    ("tare_g", "word"), [(400.001, ""), (400.1, "clogged"), (399.9, "torn"), (410.0, "another")]
)
def test_every_run_judges_its_tare(tare_g: float, word: str) -> None:
    run = planned(interval_method(), PLANNED)
    run.emit(E.CAUTIONS_ACKNOWLEDGED, 0, name="op-7")
    run.emit(E.CHECKS_PASSED, 0, zero_dp_pa=0.0)
    take_weight(run, 0, Typed(tare_g, "op-7", "typed in a test"))
    found = [entry["text"] for entry in run.facts.deviations if entry["key"] == "sieve-tare"]
    assert len(found) == (1 if word else 0)
    assert all(word in text for text in found)


# --- method revisions -------------------------------------------------------------------------------------


def test_a_used_revision_that_was_changed_is_refused_with_what_to_do() -> None:
    method = interval_method()
    used = plain_json(method)
    check_revision(method, None)
    check_revision(method, used)
    changed = dataclasses.replace(method, determinations=Determinations(count=2))
    with pytest.raises(Refused) as refused:
        check_revision(changed, used)
    text = str(refused.value)
    assert "Method m revision 1 was used before with other values" in text
    assert "determinations.count was 1, is 2" in text
    assert "revision = 2" in text


def test_keys_that_a_newer_version_added_count_only_when_they_are_used() -> None:
    method = interval_method()
    used = plain_json(method)
    del used["determinations"]["statistic"]
    del used["precautions"]
    check_revision(method, used)
    changed = dataclasses.replace(method, determinations=Determinations(statistic="median"))
    with pytest.raises(Refused, match=r"determinations\.statistic is new"):
        check_revision(changed, used)
