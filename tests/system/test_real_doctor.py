"""`lastgrain doctor` beside a running service, which owns the ports."""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.system.real_bench import real_bench


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
