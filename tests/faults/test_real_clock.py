"""The wall clock is stepped, unset or folded under the installed service: durations never notice."""

from __future__ import annotations

import subprocess
import sys
import time
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from logger.store.history import reading, run_events
from tests.faults.clock import MovedClock
from tests.system.real_bench import START, RealBench, real_bench

pytestmark = pytest.mark.asyncio


def shown_year(clock: MovedClock) -> int:
    code = "import datetime; print(datetime.datetime.now(datetime.UTC).year)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return int(done.stdout)


def event_times(bench: RealBench, run_id: str) -> list[tuple[str, int]]:
    with reading(bench.data.store) as connection:
        return [(event.utc, event.at_ns) for event in run_events(connection, run_id)]


@pytest.mark.full
@pytest.mark.parametrize("step_s", [3600.0, -3600.0])
async def test_a_stepped_clock_is_an_event_and_touches_no_duration(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step_s: float
) -> None:
    clock = MovedClock(tmp_path / "offset")
    clock.install(monkeypatch)
    async with real_bench(tmp_path / "data", speed=20.0) as bench:
        await bench.do("start", **START)
        picture = await bench.operate("sieving")
        before_s, began = picture.run.effective_s if picture.run else 0.0, time.monotonic()
        clock.set(step_s)
        picture = await bench.until(lambda p: any(e.kind == "clock_stepped" for e in p.events), limit_s=5.0)
        text = next(e.text for e in picture.events if e.kind == "clock_stepped")
        assert f"stepped by {step_s:g} s" in text.replace(f"{step_s:.2f}", f"{step_s:g}")
        picture = await bench.until(lambda p: bool(p.run and p.run.effective_s > before_s + 40))
        assert picture.run is not None
        gained_s, passed_s = picture.run.effective_s - before_s, (time.monotonic() - began) * bench.speed
        assert gained_s < passed_s * 1.15, "an hour forward would have ended the interval at once"
        assert picture.state == "sieving"
        times = event_times(bench, picture.run.run_id)
    stamps = [datetime.fromisoformat(utc).timestamp() for utc, _ in times]
    naive_s = max(abs(b - a) for a, b in pairwise(stamps))
    assert naive_s > 3000, "the fault bites: wall times alone tell of an hour that was not"
    assert [at_ns for _, at_ns in times] == sorted(at_ns for _, at_ns in times)


async def test_an_unset_clock_is_shown_at_the_start_and_in_the_record(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = MovedClock(tmp_path / "offset")
    clock.install(monkeypatch, 86_400 - time.time())
    assert shown_year(clock) == 1970
    async with real_bench(tmp_path / "data", speed=20.0) as bench:
        picture = await bench.until(lambda p: any(alarm.key == "clock" for alarm in p.alarms))
        assert "Clock unsynchronised" in "".join(alarm.text for alarm in picture.alarms)
        await bench.do("start", **START)
        await bench.do("acknowledge", name="op-7")
        picture = await bench.until(lambda p: p.state == "taring")
        assert picture.run is not None
        await bench.do("abort", reason="end of test")
        await bench.until(lambda p: "start" in p.can)
        record = bench.record(picture.run.run_id)
        assert record is not None
        assert "clock-unsynchronised" in [entry["key"] for entry in record["deviations"]]
        clock.set(0.0)
        await bench.until(lambda p: not any(alarm.key == "clock" for alarm in p.alarms), limit_s=5.0)
        await bench.do("start", **START)
        picture = await bench.until(lambda p: p.state == "planned")
        assert "clock_stepped" not in [event.kind for event in picture.events], "it was set before this run"


@pytest.mark.full
async def test_a_run_over_the_end_of_summer_time_is_as_long_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kept in UTC; local time of Berlin goes from 02:59 back to 02:00 in the middle."""
    fold = datetime(2026, 10, 25, 1, 0, tzinfo=UTC).timestamp()
    clock = MovedClock(tmp_path / "offset")
    monkeypatch.setenv("TZ", "Europe/Berlin")
    clock.install(monkeypatch, fold - 2.0 - time.time())
    async with real_bench(tmp_path / "data", speed=20.0) as bench:
        clock.set(fold - 1.5 - time.time())
        await bench.do("start", **START)
        await bench.do("acknowledge", name="op-7")
        picture = await bench.until(lambda p: p.utc > "2026-10-25T01:00:01", limit_s=10.0)
        assert picture.run is not None
        await bench.do("abort", reason="end of test")
        await bench.until(lambda p: "start" in p.can)
        times = event_times(bench, picture.run.run_id)
    utc_s = [datetime.fromisoformat(utc).timestamp() for utc, _ in times]
    berlin = ZoneInfo("Europe/Berlin")
    naive = [datetime.fromtimestamp(at_s, berlin).replace(tzinfo=None) for at_s in utc_s]
    assert (naive[-1] - naive[0]).total_seconds() < 0, (
        "the fault bites: local times without offset run backwards"
    )
    assert all(utc.endswith("Z") for utc, _ in times)
    assert utc_s == sorted(utc_s)
    assert utc_s[-1] - utc_s[0] < 20
