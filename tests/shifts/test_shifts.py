"""Whole shifts with random faults: nothing that is promised is broken."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shifts.day import Day, work


def check(day: Day) -> None:
    """A day on which too little happened proves nothing."""
    print(day)
    assert day.runs >= day.hours
    assert len(day.faults) >= min(10, 3 * day.hours)
    assert any(day.outcomes.get(name) for name in ("endpoint", "time-limit", "stopped"))


@pytest.mark.full
@pytest.mark.parametrize(("arrangement", "seed"), [("beside", 11), ("under", 12)])
def test_two_hours_at_a_bench(tmp_path: Path, arrangement: str, seed: int) -> None:
    check(work(tmp_path, seed, arrangement, 2.0))


@pytest.mark.soak
@pytest.mark.timeout(3600)
@pytest.mark.parametrize(("arrangement", "seed"), [("beside", 21), ("under", 22)])
def test_a_day_at_a_bench(tmp_path: Path, arrangement: str, seed: int) -> None:
    day = work(tmp_path, seed, arrangement, 24.0)
    check(day)
    assert day.memory_growth_mib < 200
