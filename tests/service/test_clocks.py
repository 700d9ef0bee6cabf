"""What the host does with time under an open run, and what it did before one."""

from __future__ import annotations

import pytest

from logger.service.picture import snapshot
from tests.publish.listener import until
from tests.service.bench import STARTED, DeskBench

pytestmark = pytest.mark.asyncio


async def started() -> DeskBench:
    bench = DeskBench()
    reply = await bench.service.command("start", "op-7", STARTED)
    assert reply.ok, reply.text
    await bench.service.command("acknowledge", "op-7", {"name": "op-7"})
    for _ in range(4):
        bench.second()
    return bench


async def finished(bench: DeskBench) -> dict[str, object]:
    await until(lambda: bench.journal.records)
    return bench.journal.records[-1]


async def test_a_host_that_slept_makes_the_open_run_invalid() -> None:
    bench = await started()
    bench.clock.slept_s += 30.0
    bench.second()
    record = await finished(bench)
    assert record["outcome"] == "invalid"
    assert record["result"] is None
    assert "slept for 30 s" in str(record["reason"])


async def test_a_moment_of_sleep_is_none() -> None:
    bench = await started()
    bench.clock.slept_s += 0.5
    bench.second()
    assert bench.service.engine is not None
    assert not bench.service.engine.ended


async def test_sleep_and_steps_before_a_run_are_not_held_against_it() -> None:
    bench = DeskBench()
    bench.clock.slept_s += 3600.0
    bench.clock.offset_s += 7200.0
    bench.service.tick()
    assert (await bench.service.command("start", "op-7", STARTED)).ok
    for _ in range(3):
        bench.second()
    assert "invalidated" not in bench.kinds()
    assert "clock_stepped" not in bench.kinds()


@pytest.mark.parametrize("step_s", [3600.0, -3600.0, 1.5])
async def test_a_step_of_the_wall_clock_is_one_event_with_its_size(step_s: float) -> None:
    bench = await started()
    bench.clock.offset_s += step_s
    for _ in range(3):
        bench.second()
    (event,) = [event for event in bench.journal.events if event.kind.value == "clock_stepped"]
    assert event.data["step_s"] == step_s


async def test_a_slow_drift_is_no_step() -> None:
    bench = await started()
    for _ in range(5):
        bench.clock.offset_s += 0.1
        bench.second()
    assert "clock_stepped" not in bench.kinds()


async def test_a_year_before_2024_is_shown_and_noted() -> None:
    bench = DeskBench()
    bench.clock.wall = "1970-01-01T00:05:00.000Z"
    alarms = [alarm.text for alarm in snapshot(bench.service).alarms]
    assert any("Clock unsynchronised: the computer shows 1970-01-01" in text for text in alarms)
    assert (await bench.service.command("start", "op-7", STARTED)).ok
    await bench.service.command("acknowledge", "op-7", {"name": "op-7"})
    for _ in range(4):
        bench.second()
    await bench.service.command("abort", "op-7", {"reason": "test"})
    record = await finished(bench)
    deviations = record["deviations"]
    assert isinstance(deviations, list)
    assert "clock-unsynchronised" in [entry["key"] for entry in deviations]
