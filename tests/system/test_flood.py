"""2,000 lines a second on the balance's port: every one is in the journal, in order, with none lost."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from logger.app.children import first_json_line, start_child, stop_child
from logger.app.paths import DataFolder
from logger.core.readings import Channel, Quality
from logger.store.history import list_runs, reading, run_readings
from tests.benchmarks.logging_cpu import open_run, write_bench

SECONDS = 4
HZ = 2000


@pytest.mark.asyncio
async def test_no_line_is_lost_between_port_and_journal(tmp_path: Path) -> None:
    data = DataFolder(tmp_path)
    data.prepare()
    command = [sys.executable, "-m", "tests.benchmarks.feeder", str(HZ), "1", "wait"]
    feeder = await asyncio.to_thread(subprocess.Popen, command, stdout=subprocess.PIPE)
    try:
        (ports,) = first_json_line(feeder, tmp_path / "feeder.log")
        bench = write_bench(tmp_path, list(ports), 1)
        text = bench.read_text(encoding="utf-8").partition("[broker]")[0]
        bench.write_text(text, encoding="utf-8")
        service = start_child("serve", "--data", str(tmp_path), "--bench", str(bench), log=tmp_path / "log")
        try:
            await open_run(data.socket)
            await asyncio.sleep(SECONDS)
        finally:
            await asyncio.to_thread(stop_child, service)
    finally:
        await asyncio.to_thread(stop_child, feeder)
    with reading(data.store) as connection:
        run_id = list_runs(connection, 1)[0].run_id
        rows = [r for r in run_readings(connection, run_id) if r.channel is Channel.MASS]
    assert all(row.quality is Quality.OK for row in rows)
    counters = [int(row.raw[-4:]) for row in rows]
    gaps = [(a, b) for a, b in pairwise(counters) if b != (a + 1) % 10000]
    assert gaps == []
    # A loaded machine feeds more slowly; what counts is that nothing of what came was lost.
    assert len(rows) > HZ * SECONDS / 2
    times = [row.at_ns for row in rows]
    assert times == sorted(times)
