"""Modbus transducer and permit relay with the real programs: a whole run, and what a killed service leaves behind."""

from __future__ import annotations

import asyncio
import signal
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import pytest

from logger.app.children import first_json_line, start_child
from logger.app.instruments import bench_profiles
from logger.core.snapshot import Snapshot
from logger.settings import config_dir, load_bench
from logger.store.history import reading, run_events
from tests.system.real_bench import START, RealBench, running

EXAMPLE = config_dir() / "benches" / "modbus-permit.toml"
HOLD_S = 5.0
"""The time-out of the simulated relay, real seconds."""


@dataclass
class PermitBench(RealBench):
    """The example bench config/benches/modbus-permit.toml on the virtual rig."""

    permit: Literal["line", "modbus"] = "modbus"

    def start_rig(self) -> None:
        options = ["--scenario", self.scenario, "--speed", str(self.speed), "--json"]
        options += ["--arrangement", self.arrangement, "--link-dir", str(self.root / "ports")]
        options += ["--pressure-dialect", "modbus-pressure", "--permit", self.permit]
        options += ["--follow", str(self.data.socket)] if self.hands else []
        options += ["--tcp"] if self.tcp else []
        self.rig = start_child("simulate", *options, log=self.root / "rig.log")
        self.ports = first_json_line(self.rig, self.root / "rig.log")

    def write_bench(self) -> None:
        text = EXAMPLE.read_text(encoding="utf-8")
        for name, port in (("BALANCE", "mass"), ("PRESSURE", "pressure"), ("PERMIT", "permit")):
            text = text.replace(f"/dev/serial/by-id/{name}", self.ports[port])
        if self.permit == "line":
            text = text.replace('kind = "modbus"', 'kind = "line"')
        self.bench_file.write_text(text, encoding="utf-8")

    async def suction(self) -> str:
        status = await self.rig_command("status")
        return status.split("suction ")[1].split(",")[0]

    async def suction_becomes(self, wanted: str, limit_s: float) -> float:
        """Waits for it; returns how long it took, s."""
        start_s = time.monotonic()
        while await self.suction() != wanted:
            assert time.monotonic() - start_s < limit_s, f"suction is {await self.suction()}, not {wanted}"
            await asyncio.sleep(0.05)
        return time.monotonic() - start_s


def story(bench: PermitBench, run_id: str) -> list[tuple[str, object]]:
    """State-moving events and permit changes in order."""
    with reading(bench.data.store) as connection:
        events = run_events(connection, run_id)
    return [(event.kind.value, event.data.get("granted")) for event in events]


def test_the_example_bench_is_whole() -> None:
    bench = load_bench(EXAMPLE)

    assert bench_profiles(bench)
    assert bench.permit.kind == "modbus"


@pytest.mark.full
@pytest.mark.asyncio
@pytest.mark.parametrize(("permit", "tcp"), [("modbus", False), ("line", True)])
async def test_a_whole_run_with_registers_and_a_relay(
    tmp_path: Path, permit: Literal["line", "modbus"], tcp: bool
) -> None:
    async with running(PermitBench(tmp_path, 60.0, tcp=tcp, permit=permit)) as bench:
        picture = await bench.ready()
        assert [link.channel for link in picture.links] == ["mass", "pressure", "permit"]
        assert "serial number 40217" in picture.links[1].text
        await bench.until(lambda p: p.links[2].text == "Permit granted: no run is open.")
        await bench.do("start", **START)
        await bench.operate("awaiting_review", limit_s=90.0)
        finished = await bench.until(lambda p: "start" in p.can)
        assert finished.links[2].text.startswith("Permit withdrawn: the run is finished")
        assert finished.run is not None
        assert await bench.suction() == "off (no permit)"
        record = bench.record(finished.run.run_id)
        told = story(bench, finished.run.run_id)
        await bench.do("close")
        await bench.until(lambda p: p.links[2].text == "Permit granted: no run is open.")
        await bench.suction_becomes("off", 2.0)
    assert record is not None
    assert record["outcome"] == "endpoint"
    permits = [granted for kind, granted in told if kind == "permit_changed"]
    assert permits == [False, True] * (len(permits) // 2) + [False] * (len(permits) % 2)
    intervals = sum(1 for kind, _ in told if kind == "interval_over")
    assert permits.count(True) >= intervals >= 2


@pytest.mark.asyncio
async def test_kill_9_drops_the_relay_within_its_time_out_and_a_restart_starts_nothing(
    tmp_path: Path,
) -> None:
    """At the speed of a real bench. Afterwards a new service permits again, and the suction stays off."""
    async with running(PermitBench(tmp_path, 1.0, hands=False)) as bench:
        await bench.rig_command("sieve to rig")
        await bench.suction_becomes("off", 3.0)  # the permit is there, nobody has switched on
        await bench.rig_command("suction on")
        assert await bench.suction() == "on"
        await asyncio.to_thread(bench.end_service, signal.SIGKILL)
        took_s = await bench.suction_becomes("off (no permit)", HOLD_S + 1.0)
        assert took_s > 2.0, "it was the time-out that dropped it"
        bench.start_service()
        await bench.suction_becomes("off", 5.0)
        await asyncio.sleep(0.5)
        assert await bench.suction() == "off"


@pytest.mark.asyncio
async def test_a_signal_drops_the_relay_at_once(tmp_path: Path) -> None:
    async with running(PermitBench(tmp_path, 1.0, hands=False, permit="line")) as bench:
        await bench.rig_command("sieve to rig")
        await bench.suction_becomes("off", 3.0)
        await bench.rig_command("suction on")
        await asyncio.to_thread(bench.end_service, signal.SIGTERM)
        assert await bench.suction() == "off (no permit)"


@pytest.mark.asyncio
async def test_a_pulled_transducer_stops_the_jet_and_nothing_starts_it_again(tmp_path: Path) -> None:
    async with running(PermitBench(tmp_path, 20.0)) as bench:
        await bench.do("start", **START)
        await bench.operate("sieving")
        await bench.suction_becomes("on", 2.0)
        await bench.rig_command("hands off")
        await bench.rig_command("unplug pressure")
        await bench.suction_becomes("off (no permit)", 2.0)
        await bench.until(
            lambda p: any(alarm.key == "permit-withdrawn" for alarm in p.alarms) or p.state == "held"
        )
        await bench.rig_command("plug pressure")
        await bench.until(lambda p: p.links[1].state == "up" and p.state == "held", limit_s=15.0)
        await bench.do("resume", reason="cable was loose")
        await bench.suction_becomes("off", 3.0)
        await asyncio.sleep(1.0)
        assert await bench.suction() == "off"
        await bench.rig_command("unplug relay")
        await bench.until(lambda p: p.links[2].state != "up", limit_s=1.0)
        assert any(alarm.key == "permit-link" for alarm in (bench.picture() or picture_missing()).alarms)
        await bench.rig_command("plug relay")
        await bench.until(lambda p: p.links[2].state == "up", limit_s=15.0)
        assert (await bench.suction()).startswith("off")


def picture_missing() -> Snapshot:
    raise AssertionError("no picture")
