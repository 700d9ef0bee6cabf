"""Faults on the installed programs: cables, files, people, and parts of the service that fail."""

from __future__ import annotations

import asyncio
import signal
import socket
from itertools import pairwise
from pathlib import Path

import pytest

from logger.core.readings import Channel
from logger.settings import config_dir
from logger.store import history
from tests.system.real_bench import START, RealBench, real_bench, running

pytestmark = pytest.mark.asyncio
FILLER = config_dir() / "methods" / "filler-45-interval.toml"


class OwnMethod(RealBench):
    """The bench with a method file of its own beside the bench file."""

    @property
    def method_file(self) -> Path:
        return self.root / "ours.toml"

    def write_bench(self) -> None:
        super().write_bench()
        self.method_file.write_text(FILLER.read_text(encoding="utf-8"), encoding="utf-8")
        text = self.bench_file.read_text(encoding="utf-8")
        named = text.replace('methods = ["filler-45-interval"]', 'methods = ["ours.toml"]')
        assert named != text
        self.bench_file.write_text(named, encoding="utf-8")


@pytest.mark.full
async def test_swapped_cables_are_named_and_no_run_starts(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=10.0) as bench:
        await bench.rig_command("swap")
        picture = await bench.until(
            lambda p: any(k.state == "wrong-instrument" for k in p.links), limit_s=15.0
        )
        told = [link.text for link in picture.links if link.state == "wrong-instrument"]
        assert "may be swapped" in told[0]
        assert picture.mass.value_g is None or picture.links[0].state == "up"
        refused = await bench.client.command("start", **START)
        assert not refused.ok
        assert "No run can start" in refused.text
        await bench.rig_command("swap")
        await bench.ready()


@pytest.mark.full
async def test_a_port_that_is_absent_at_the_start_is_named_and_found_when_it_comes(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=10.0) as bench:
        await asyncio.to_thread(bench.end_service, signal.SIGTERM)
        await bench.rig_command("unplug pressure")
        bench.start_service()
        picture = await bench.until(lambda p: p.links[1].state == "absent" and p.links[0].state == "up")
        assert bench.ports["pressure"] in picture.links[1].text
        refused = await bench.client.command("start", **START)
        assert bench.ports["pressure"] in refused.text
        await bench.rig_command("plug pressure")
        await bench.ready()


@pytest.mark.full
async def test_a_second_bench_on_the_same_ports_is_told_who_holds_them(tmp_path: Path) -> None:
    async with real_bench(tmp_path / "one", speed=10.0) as bench:
        assert bench.service is not None
        other = RealBench(tmp_path / "two", bench.speed)
        other.bench_file.write_text(bench.bench_file.read_text(encoding="utf-8"), encoding="utf-8")
        watching = asyncio.create_task(other.client.run())
        other.start_service()
        try:
            picture = await other.until(
                lambda p: all(str(bench.service and bench.service.pid) in link.text for link in p.links)
            )
            assert all(link.state != "up" for link in picture.links)
            refused = await other.client.command("start", **START)
            assert str(bench.service.pid) in refused.text
            assert all(link.state == "up" for link in (await bench.ready()).links)
        finally:
            watching.cancel()
            await asyncio.gather(watching, return_exceptions=True)
            await asyncio.to_thread(other.end_service, signal.SIGTERM)


@pytest.mark.full
async def test_a_method_file_edited_in_a_run_changes_nothing_but_is_told(tmp_path: Path) -> None:
    async with running(OwnMethod(tmp_path, 20.0)) as bench:
        await bench.do("start", **START)
        await bench.operate("sieving")
        text = bench.method_file.read_text(encoding="utf-8")
        edited = text.replace("limit_pct_per_min = 0.1 ", "limit_pct_per_min = 9.9 ")
        assert edited != text, "read anew, the run would stop at the next weighing"
        bench.method_file.write_text(edited, encoding="utf-8")
        picture = await bench.until(
            lambda p: any(alarm.key.startswith("method-file") for alarm in p.alarms), limit_s=6.0
        )
        assert "start the service again" in "".join(alarm.text for alarm in picture.alarms)
        assert picture.run is not None
        await bench.do("abort", reason="end of test")
        await bench.until(lambda p: "start" in p.can)
        record = bench.record(picture.run.run_id)
    assert record is not None
    assert record["method"]["frozen"]["endpoint"]["limit_pct_per_min"] == 0.1
    assert "method-file-changed" in [entry["key"] for entry in record["deviations"]]


@pytest.mark.full
async def test_a_storm_of_stops_ends_the_run_once(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=40.0) as bench:
        await bench.do("start", **START)
        await bench.operate("sieving")
        replies = await asyncio.gather(
            *(bench.client.command("stop", reason=f"stop {count}") for count in range(20))
        )
        assert [reply.ok for reply in replies].count(True) == 1
        assert all("Traceback" not in reply.text for reply in replies)
        picture = await bench.operate("awaiting_review", limit_s=60.0)
        late = await asyncio.gather(*(bench.client.command(name, reason="x") for name in ("stop", "abort")))
        assert not any(reply.ok for reply in late), "while the record is being written and after it"
        await bench.until(lambda p: "start" in p.can)
        assert picture.run is not None
        kinds = bench.event_kinds(picture.run.run_id)
        record = bench.record(picture.run.run_id)
    assert kinds.count("stopped") == 1
    assert record is not None
    assert (record["outcome"], record["reason"]) == ("stopped", "stop 0")


BROKEN_PART = """
import sys
from pathlib import Path

if "serve" in sys.orig_argv:
    import logger.app.serve as serve

    whole = serve.live_values

    def broken(picture):
        if Path({flag!r}).exists():
            raise ZeroDivisionError("a part beside the run is broken")
        return whole(picture)

    serve.live_values = broken
"""


@pytest.mark.full
async def test_a_part_beside_the_run_may_fail_without_ending_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The fault is put into the child from outside: its publisher of live values raises."""
    folder, flag = tmp_path / "patch", tmp_path / "broken"
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(BROKEN_PART.format(flag=str(flag)), encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", f"{folder}:{Path(__file__).parents[2]}")
    async with real_bench(tmp_path / "data", speed=20.0) as bench:
        await bench.do("start", **START)
        await bench.operate("sieving")
        flag.touch()
        picture = await bench.until(
            lambda p: any(alarm.key == "part-live values" for alarm in p.alarms), limit_s=5.0
        )
        assert "ZeroDivisionError" in "".join(alarm.text for alarm in picture.alarms)
        before_s = picture.run.effective_s if picture.run else 0.0
        await bench.until(lambda p: bool(p.run and p.run.effective_s > before_s + 20), limit_s=15.0)
        flag.unlink()
        await bench.until(lambda p: not any(a.key == "part-live values" for a in p.alarms), limit_s=45.0)
        assert bench.service is not None
        assert bench.service.poll() is None
        assert "ZeroDivisionError" in bench.data.log.read_text(encoding="utf-8")
        picture = await bench.until(lambda p: p.run is not None)
        assert picture.state in ("sieving", "releasing", "weighing")


@pytest.mark.full
async def test_a_console_that_stands_still_costs_no_reading(tmp_path: Path) -> None:
    """A watcher that reads nothing for five seconds while the balance is asked and the transducer streams."""
    async with real_bench(tmp_path, speed=1.0) as bench:
        await bench.do("start", **START)
        await bench.do("acknowledge", name="op-7")
        picture = await bench.until(lambda p: p.state == "taring", limit_s=15.0)
        assert picture.run is not None
        with socket.socket(socket.AF_UNIX) as blocked:
            blocked.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            blocked.connect(str(bench.data.socket))
            await asyncio.sleep(5.0)
        await bench.do("abort", reason="end of test")
        await bench.until(lambda p: "start" in p.can)
        with history.reading(bench.data.store) as connection:
            found = history.run_readings(connection, picture.run.run_id)
            times = [r.at_ns for r in found if r.channel is Channel.PRESSURE]
    assert max(b - a for a, b in pairwise(times)) < 0.5e9
    assert len(times) > 45


@pytest.mark.full
async def test_a_service_that_was_stopped_for_a_while_bridges_nothing(tmp_path: Path) -> None:
    """SIGSTOP for three seconds, 30 s of bench time, in the middle of an interval."""
    async with real_bench(tmp_path, speed=10.0) as bench:
        await bench.do("start", **START)
        picture = await bench.operate("sieving")
        picture = await bench.until(lambda p: bool(p.run and p.run.effective_s > 20))
        assert bench.service is not None
        assert picture.run is not None
        bench.service.send_signal(signal.SIGSTOP)
        await asyncio.sleep(3.0)
        bench.service.send_signal(signal.SIGCONT)
        after = await bench.until(lambda p: p.utc > picture.utc and p.pressure.quality == "ok", limit_s=5.0)
        assert after.run is not None
        passed_s = (after.run.elapsed_s or 0.0) - (picture.run.elapsed_s or 0.0)
        assert passed_s > 30, "the fault bites: the clock went on"
        assert after.run.effective_s - picture.run.effective_s < passed_s - 25
        await bench.do("abort", reason="end of test")
        await bench.until(lambda p: "start" in p.can)
        record = bench.record(picture.run.run_id)
    assert record is not None
    assert record["outcome"] == "aborted"
