"""The service on real ports while its disk fails: the screen says so, the run goes on, nothing is lost."""

from __future__ import annotations

import asyncio
import signal
import time
from itertools import pairwise
from pathlib import Path

import pytest

from logger.core.readings import Channel
from logger.core.snapshot import Snapshot
from logger.store import history
from tests.store.disk import shim
from tests.store.quick_runs import findings
from tests.store.test_kill import moment_s
from tests.store.test_salvage import damage, pages_of
from tests.system.real_bench import START, RealBench, real_bench

pytestmark = pytest.mark.asyncio


def restart_on_failing_disk(bench: RealBench, monkeypatch: pytest.MonkeyPatch, **settings: str) -> Path:
    """The service ends and starts again on a disk that fails while the file exists whose path is given."""
    flag = bench.root.parent / "disk-fails"
    bench.end_service(signal.SIGTERM)
    for name, value in {
        "LD_PRELOAD": str(shim()),
        "SHIM_DIR": str(bench.data.store),
        "SHIM_FLAG": str(flag),
        **settings,
    }.items():
        monkeypatch.setenv(name, value)
    bench.start_service()
    for name in ("LD_PRELOAD", "SHIM_DIR", "SHIM_FLAG", *settings):
        monkeypatch.delenv(name)
    return flag


def store_alarm(picture: Snapshot) -> str:
    return "".join(alarm.text for alarm in picture.alarms if alarm.key == "store")


def longest_gap_s(bench: RealBench, run_id: str, channel: Channel) -> float:
    """Between two readings, in bench time."""
    with history.reading(bench.data.store) as connection:
        times = [r.at_ns for r in history.run_readings(connection, run_id) if r.channel is channel]
    return max(b - a for a, b in pairwise(times)) / 1e9


@pytest.mark.parametrize(
    ("settings", "told"),
    [
        ({"SHIM_FULL": "1"}, "the disk is full"),
        pytest.param({"SHIM_EIO": "all"}, "does not confirm", marks=pytest.mark.full),
    ],
)
async def test_a_failing_disk_is_an_alarm_and_the_run_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, settings: dict[str, str], told: str
) -> None:
    async with real_bench(tmp_path / "data", speed=10.0) as bench:
        flag = restart_on_failing_disk(bench, monkeypatch, **settings)
        from_s = time.time()
        await bench.until(
            lambda p: (
                moment_s(p.utc) > from_s and "start" in p.can and all(link.state == "up" for link in p.links)
            )
        )
        await bench.do("start", **START)
        await bench.do("acknowledge", name="op-7")
        await asyncio.sleep(0.5)
        flag.touch()
        picture = await bench.until(lambda p: told in store_alarm(p), limit_s=5.0)
        assert "wait in memory" in store_alarm(picture)
        assert str(bench.data.store) in store_alarm(picture)
        await asyncio.sleep(1.0)
        assert picture.run is not None
        await bench.do("abort", reason="end of test")
        await bench.until(lambda p: p.state == "aborted")
        refused = await bench.client.command("start", **START)
        assert not refused.ok
        flag.unlink()
        await bench.until(lambda p: store_alarm(p) == "", limit_s=5.0)
        await bench.until(lambda p: "start" in p.can)
        await asyncio.sleep(0.5)
        run_id = picture.run.run_id
        assert bench.event_kinds(run_id)[-2:] == ["aborted", "record_issued"]
        assert longest_gap_s(bench, run_id, Channel.PRESSURE) < 3.0, (
            "no reading is missing from while the disk failed"
        )
        await bench.do("start", **START)
    assert findings(bench.data.store)[0].sound


@pytest.mark.full
async def test_a_damaged_store_is_an_alarm_of_the_new_one_and_a_run_can_start(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=20.0) as bench:
        for _ in range(2):
            await bench.do("start", **START)
            await bench.do("abort", reason="test")
            await bench.until(lambda p: "start" in p.can)
        bench.end_service(signal.SIGTERM)
        damage(bench.data.store, pages_of(bench.data.store, "outbox")[0])
        bench.start_service()
        picture = await bench.until(lambda p: "was set aside as" in store_alarm(p))
        assert "2 runs were carried over whole" in store_alarm(picture)
        await bench.until(lambda p: "start" in p.can and all(link.state == "up" for link in p.links))
        await bench.do("start", **START)
        assert [run.number for run in bench.runs()] == [3, 2, 1]


@pytest.mark.full
async def test_a_second_service_on_the_same_store_is_refused(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=20.0) as bench:
        first = bench.service
        assert first is not None
        bench.start_service()
        assert bench.service is not None
        assert await asyncio.to_thread(bench.service.wait, 15) == 5
        assert f"in use by another service (process {first.pid})" in (tmp_path / "serve.log").read_text()
        if bench.service.stdout is not None:
            bench.service.stdout.close()
        bench.service = first
