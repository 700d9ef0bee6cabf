"""Is the equipment fit: by hours, by runs, by days, and after a failed check."""

from __future__ import annotations

import pytest

from logger.core.register.events import RegisterKind as K
from logger.core.register.fitness import balance_fitness, pressure_fitness, sieve_fitness
from logger.core.register.look import balance_since
from logger.core.register.policy import BenchWeight, CheckPolicy
from tests.core.register.entries import NOW, SIEVE, WEIGHTS, Register, with_sieve

DAILY = CheckPolicy(weights=WEIGHTS, balance_every_hours=24.0, balance_every_runs=10)
GOOD = {"weight_id": "W-200", "zero_g": 0.0, "reading_g": 200.0}


def checked(policy: CheckPolicy = DAILY) -> Register:
    register = Register(policy)
    register.add(K.BALANCE_CHECKED, GOOD)
    return register


def test_a_balance_that_was_never_checked_is_due_only_where_a_check_is_asked_for() -> None:
    state = Register().state
    assert balance_fitness(state, CheckPolicy(), NOW, 0).standing == "not asked"
    found = balance_fitness(state, DAILY, NOW, 0)
    assert (found.standing, found.text) == ("due", "the balance was never checked with W-200")


@pytest.mark.parametrize(
    ("utc", "runs", "standing"),
    [
        ("2026-02-02T06:00:00.000Z", 9, "fit"),
        ("2026-02-02T06:00:01.000Z", 9, "due"),
        ("2026-02-02T06:00:00.000Z", 10, "due"),
    ],
)
def test_a_balance_check_lasts_its_hours_and_its_runs(utc: str, runs: int, standing: str) -> None:
    assert balance_fitness(checked().state, DAILY, utc, runs).standing == standing


def test_every_weight_of_the_bench_is_asked_for_and_the_oldest_counts() -> None:
    both = CheckPolicy(
        weights=(*WEIGHTS, BenchWeight(id="W-20", mass_g=20.0, tolerance_g=0.002)), balance_every_hours=24.0
    )
    register = checked(both)
    assert "W-20" in balance_fitness(register.state, both, NOW, 0).text
    assert balance_since(register.state, both) is None
    register.add(
        K.BALANCE_CHECKED, GOOD | {"weight_id": "W-20", "reading_g": 20.0}, utc="2026-02-01T20:00:00.000Z"
    )
    assert balance_since(register.state, both) == NOW
    assert balance_fitness(register.state, both, "2026-02-02T07:00:00.000Z", 0).standing == "due"


def test_a_failed_check_stands_until_the_same_weight_passes() -> None:
    register = checked()
    register.add(K.BALANCE_CHECKED, GOOD | {"reading_g": 200.1})
    assert balance_fitness(register.state, CheckPolicy(), NOW, 0).standing == "failed"
    register.add(K.BALANCE_CHECKED, GOOD)
    assert balance_fitness(register.state, DAILY, NOW, 0).standing == "fit"


def test_the_pressure_transducer_by_days_and_after_a_failure() -> None:
    monthly = CheckPolicy(pressure_every_days=30, pressure_zero_tolerance_pa=10.0)
    register = Register(monthly)
    assert pressure_fitness(register.state, CheckPolicy(), NOW).standing == "not asked"
    assert pressure_fitness(register.state, monthly, NOW).standing == "due"
    register.add(K.PRESSURE_CHECKED, {"zero_pa": 1.0})
    assert pressure_fitness(register.state, monthly, "2026-03-02T06:00:00.000Z").standing == "fit"
    assert pressure_fitness(register.state, monthly, "2026-03-03T06:00:00.000Z").standing == "due"
    spans = CheckPolicy(pressure_span_every_days=30)
    assert pressure_fitness(register.state, spans, NOW).standing == "due", "its zero alone is no span check"
    register.add(K.PRESSURE_CHECKED, {"zero_pa": 50.0})
    assert pressure_fitness(register.state, CheckPolicy(), NOW).standing == "failed"


def test_a_sieve_by_runs_and_days_from_its_powder_or_its_certificate() -> None:
    policy = CheckPolicy(sieve_every_runs=100, sieve_every_days=365)
    entry = with_sieve().state.sieves["S-45-01"]
    assert sieve_fitness(entry, CheckPolicy(), NOW, 5).standing == "not asked"
    assert sieve_fitness(entry, policy, NOW, 99).standing == "fit"
    assert sieve_fitness(entry, policy, NOW, 100).standing == "due"
    assert sieve_fitness(entry, policy, "2027-01-12T06:00:00.000Z", 0).standing == "due"
    bare = Register()
    bare.add(K.SIEVE_ADDED, SIEVE)
    found = sieve_fitness(bare.state.sieves["S-45-01"], policy, NOW, 0)
    assert (found.standing, "never checked" in found.text) == ("due", True)
    bare.add(K.SIEVE_ADDED, SIEVE | {"id": "S-2", "certificate": "C", "certified_on": "2026-01-31"})
    assert sieve_fitness(bare.state.sieves["S-2"], policy, NOW, 0).standing == "fit"
