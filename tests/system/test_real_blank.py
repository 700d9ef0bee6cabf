"""`lastgrain blank` on real ports, a hand on the simulated valve following what it says."""

from __future__ import annotations

import asyncio
import re
import sys
from pathlib import Path

import pytest

from logger.app.children import stop_child
from logger.settings import load_rig
from tests.system.real_bench import RealBench

SPEED = 20.0


async def lead(process: asyncio.subprocess.Process, bench: RealBench) -> list[str]:
    """Does what each new step asks; gives everything that was said."""
    assert process.stderr is not None
    said: list[str] = []
    asked = ""
    while line := (await process.stderr.readline()).decode().strip():
        said.append(line)
        step = re.match(r"Step (\d+) of \d+: (?:set (\d+) Pa)?", line)
        if step is None or step.group(1) == asked:
            continue
        asked = step.group(1)
        if step.group(2):
            await bench.rig_command("suction on")
            await bench.rig_command(f"valve {step.group(2)}")
    return said


@pytest.mark.full
@pytest.mark.asyncio
async def test_a_blank_run_by_hand_writes_a_rig_file_that_loads(tmp_path: Path) -> None:
    bench = RealBench(tmp_path, SPEED, arrangement="under", hands=False)
    bench.start_rig()
    bench.write_bench()
    try:
        await bench.rig_command("empty sieve")
        await asyncio.sleep(2.0)
        out = tmp_path / "rig.toml"
        out.write_text("readability_g = 1.0\n", encoding="utf-8")
        command = [sys.executable, "-m", "logger.cli", "blank", "--method", "filler-45-live"]
        command += ["--data", str(tmp_path), "--bench", str(bench.bench_file), "--out", str(out)]
        process = await asyncio.create_subprocess_exec(
            *command,
            "--speed",
            str(SPEED),
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.DEVNULL,
            stderr=asyncio.subprocess.PIPE,
        )
        assert process.stdin is not None
        process.stdin.write(b"op-7\n")
        async with asyncio.timeout(120):
            said = await lead(process, bench)
            code = await process.wait()
    finally:
        if bench.rig is not None:
            stop_child(bench.rig)
    assert code == 0, said
    rig = load_rig(out)
    assert rig.coupling_g_per_kpa is not None
    # The simulator's platform: slope 0.35 + 2 x 0.015 x 2.5 = 0.425 g/kPa at 2.5 kPa.
    slope = rig.coupling_g_per_kpa + 2 * 2.5 * (rig.coupling2_g_per_kpa2 or 0.0)
    assert slope == pytest.approx(0.425, abs=0.05)
    assert any("cautions" in line for line in said)
    assert (tmp_path / "rig-2.toml").read_text(encoding="utf-8") == "readability_g = 1.0\n"
    assert any("kept as" in line and "rig-2.toml" in line for line in said)
