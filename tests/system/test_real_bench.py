"""The installed programs on real ports: a whole run, a pulled cable, kills, signals, a second instance."""

from __future__ import annotations

import asyncio
import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from logger.store.history import reading
from logger.store.verify import verify
from tests.system.real_bench import START, RealBench, real_bench
from tests.system.test_virtual_run import finished

pytestmark = pytest.mark.asyncio


def same_sequence(kinds: list[str]) -> list[str]:
    """The story of the run. What depends on how late a sped-up busy machine is (a hand's delay of 15 s of
    bench time is a quarter of a second here) is left out."""
    late = ("alarm", "link", "band_left", "band_regained", "deviation")
    return [kind for kind in kinds if not kind.startswith(late)]


@pytest.mark.full
@pytest.mark.parametrize("tcp", [False, True], ids=["pty", "tcp"])
async def test_real_ports_give_the_same_story_and_residue_as_virtual_time(tmp_path: Path, tcp: bool) -> None:
    virtual = finished()
    async with real_bench(tmp_path, speed=30.0, tcp=tcp) as bench:
        await bench.do("start", **START)
        picture = await bench.operate("awaiting_review", limit_s=120.0)
        await bench.until(lambda p: "start" in p.can)
        assert picture.run is not None
        record = bench.record(picture.run.run_id)
        kinds = bench.event_kinds(picture.run.run_id)
    assert record is not None
    assert kinds.pop() == "record_issued"
    story = [event.kind.value for event in virtual.events]
    assert same_sequence(kinds) == same_sequence(story)
    expected_pct = virtual.engine.run.facts.result["residue_pct"]
    # A hand that switches off a second later has sieved 0.0014 % of the charge more at the limit's rate.
    assert record["result"]["residue_pct"] == pytest.approx(expected_pct, abs=0.02)
    with reading(bench.data.store) as connection:
        findings = verify(connection)
    assert [finding.verdict for finding in findings] == ["no-outside-head"]


async def test_a_pulled_balance_is_shown_within_a_second_and_the_run_goes_on(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=20.0) as bench:
        await bench.do("start", **START)
        await bench.operate("sieving")
        pulled = time.monotonic()
        await bench.rig_command("unplug balance")
        await bench.until(lambda p: p.links[0].state != "up", limit_s=1.0)
        assert time.monotonic() - pulled < 1.0
        picture = await bench.until(lambda p: any(alarm.key == "balance-silent" for alarm in p.alarms))
        assert picture.mass.value_g is None, "no number is shown that nobody measured"
        await bench.rig_command("plug balance")
        picture = await bench.until(lambda p: p.links[0].state == "up" and not p.alarms, limit_s=10.0)
        assert picture.state == "sieving"
        assert [event.kind for event in picture.events].count("link_changed") == 2


async def test_a_pulled_transducer_holds_the_run_and_resume_needs_a_reason(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=20.0) as bench:
        await bench.do("start", **START)
        await bench.operate("sieving")
        await bench.rig_command("unplug pressure")
        held = await bench.until(lambda p: p.state == "held", limit_s=10.0)
        assert held.run is not None
        assert held.pressure.lid == "Pressure unknown: wait, then check by hand."
        before_s = held.run.effective_s
        await bench.rig_command("plug pressure")
        await bench.until(lambda p: p.links[1].state == "up", limit_s=10.0)
        assert not (await bench.client.command("resume", reason="")).ok
        await bench.do("resume", reason="cable was loose")
        picture = await bench.until(lambda p: p.state == "sieving", limit_s=20.0)
        assert picture.run is not None
        assert picture.run.effective_s - before_s < 60, "the gap was not bridged"


@pytest.mark.parametrize(
    "number",
    [
        signal.SIGTERM,
        *(pytest.param(other, marks=pytest.mark.full) for other in (signal.SIGINT, signal.SIGHUP)),
    ],
)
async def test_a_signal_closes_the_run_as_interrupted_and_the_next_start_finds_it_whole(
    tmp_path: Path, number: signal.Signals
) -> None:
    async with real_bench(tmp_path) as bench:
        await bench.do("start", **START)
        await bench.operate("drawing_down", "sieving")
        code = await asyncio.to_thread(bench.end_service, number)
        assert code == (130 if number is signal.SIGINT else 0)
        row = bench.runs()[0]
        record = bench.record(row.run_id)
    assert row.outcome == "interrupted"
    assert record is not None
    assert record["result"] is None
    assert number.name in record["reason"]


async def test_kill_9_leaves_a_run_that_the_next_start_closes_as_interrupted(tmp_path: Path) -> None:
    async with real_bench(tmp_path) as bench:
        await bench.do("start", **START)
        await bench.operate("sieving")
        await asyncio.to_thread(bench.end_service, signal.SIGKILL)
        assert bench.runs()[0].outcome == ""
        await bench.gone()
        bench.start_service()
        await bench.ready()
        row = bench.runs()[0]
        assert row.outcome == "interrupted"
        record = bench.record(row.run_id)
        assert record is not None
        assert record["result"] is None
        told = await bench.until(lambda p: p.run is None)
        assert "interrupted-run" in [alarm.key for alarm in told.alarms]
        await bench.do("start", **START)
        assert [r.number for r in bench.runs()] == [2, 1]
        await bench.until(lambda p: "interrupted-run" not in [alarm.key for alarm in p.alarms])


async def test_a_second_service_on_the_same_data_is_refused_by_name(tmp_path: Path) -> None:
    async with real_bench(tmp_path) as bench:
        assert bench.service is not None
        command = [sys.executable, "-m", "logger.cli", "serve", "--data", str(tmp_path)]
        command += ["--bench", str(bench.bench_file)]
        done = await asyncio.to_thread(subprocess.run, command, capture_output=True, text=True, timeout=20)
        assert done.returncode == 5
        assert str(bench.service.pid) in done.stderr
        assert "Traceback" not in done.stderr


async def test_no_run_starts_without_its_instruments(tmp_path: Path) -> None:
    async with real_bench(tmp_path) as bench:
        await bench.rig_command("unplug balance")
        await bench.until(lambda p: p.links[0].state != "up")
        reply = await bench.client.command("start", **START)
        assert not reply.ok
        assert "balance" in reply.text
        assert bench.runs() == []


async def test_one_watcher_holds_the_controls(tmp_path: Path) -> None:
    async with real_bench(tmp_path) as bench:
        await bench.do("start", **START)
        other = RealBench(tmp_path, bench.speed)
        watching = asyncio.create_task(other.client.run())
        try:
            picture = await other.until(lambda p: p.run is not None)
            assert not picture.you_hold_controls
            refused = await other.client.command("acknowledge", name="second")
            assert not refused.ok
            assert "holds the controls" in refused.text
            await other.do("take_controls", name="second")
            await other.do("acknowledge", name="second")
        finally:
            watching.cancel()
            await asyncio.gather(watching, return_exceptions=True)


async def test_headless_demo_prints_the_record_and_exits_0(tmp_path: Path) -> None:
    command = [
        sys.executable,
        "-m",
        "logger.cli",
        "demo",
        "--headless",
        "--speed",
        "60",
        "--data",
        str(tmp_path),
    ]
    start = time.monotonic()
    done = await asyncio.to_thread(subprocess.run, command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert time.monotonic() - start < 60
    record = json.loads(done.stdout)
    assert record["outcome"] == "endpoint"
    assert record["review"] == "unreviewed"
    assert "Traceback" not in done.stderr
