"""`lastgrain doctor` beside a running service, which owns the ports."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from logger.app.children import stop_child
from tests.system.real_bench import RealBench, real_bench


async def doctor(bench_file: Path, root: Path) -> tuple[int, Any]:
    command = [sys.executable, "-m", "logger.cli", "doctor", "--json"]
    command += ["--data", str(root), "--bench", str(bench_file)]
    done = await asyncio.to_thread(
        subprocess.run, command, capture_output=True, text=True, timeout=60, check=False
    )
    assert "Traceback" not in done.stderr
    return done.returncode, json.loads(done.stdout)


@pytest.mark.full
@pytest.mark.asyncio
async def test_the_running_service_is_asked_about_its_ports_and_takes_no_harm(tmp_path: Path) -> None:
    async with real_bench(tmp_path, speed=1.0) as bench:
        code, found = await doctor(bench.bench_file, tmp_path)
        assert (code, found["sound"]) == (0, True), found
        read = [f for f in found["findings"] if f["what"].startswith("the service reads it")]
        assert len(read) == 2
        await bench.rig_command("unplug mass")
        await bench.until(lambda p: p.links[0].state != "up")
        code, found = await doctor(bench.bench_file, tmp_path)
        assert code == 4
        bad = [f for f in found["findings"] if f["level"] == "wrong"]
        assert [f["where"].split(" at ")[0] for f in bad] == ["balance"]
        assert bench.picture() is not None


@pytest.mark.full
@pytest.mark.asyncio
async def test_before_a_service_runs_the_virtual_rig_s_ports_are_free_and_read(tmp_path: Path) -> None:
    bench = RealBench(tmp_path, speed=1.0, hands=False)
    bench.start_rig()
    assert bench.rig is not None
    try:
        bench.write_bench()
        code, found = await doctor(bench.bench_file, tmp_path)
    finally:
        stop_child(bench.rig)

    assert (code, found["sound"]) == (0, True), found
    about = [f["what"] for f in found["findings"] if f["area"] == "instruments"]
    assert ["readings came" in what for what in about] == [True, True]
