"""Thirty days up: memory, open files and the log stay flat, readers or not."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from logger.store import history
from logger.store.opening import WAL_LIMIT
from tests.store.disk import ROOT
from tests.store.quick_runs import findings

PROGRAM = """
import os, sys, time
from contextlib import closing
from pathlib import Path
from logger.core.record import build_record
from logger.store import history
from tests.store.quick_runs import MadeRun, open_journal, reading_of, short_run
path, runs, per_run = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
journal = open_journal(path)
failures = []
journal.on_trouble = failures.append

def look(done):
    rss = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmRSS"))
    wal = path.with_name(path.name + "-wal").stat().st_size
    print(done, rss, wal, len(os.listdir("/proc/self/fd")), flush=True)

readings = [reading_of(1, place) for place in range(per_run)]
for number in range(1, runs + 1):
    made = short_run(number, 0)
    journal.start_run(made.run_id, made.events[0]).result()
    for start in range(0, per_run, 50):
        journal.add(made.run_id, [], readings[start : start + 50])
        if start % 500 == 0:
            journal.flush().result()
    journal.add(made.run_id, made.events[1:])
    facts = made.facts
    journal.issue_record(made.run_id, lambda head: build_record(made.run_id, facts, head)).result()
    journal.archive(made.run_id).result()
    with history.reading(path) as connection:
        history.list_runs(connection, 20)
    look(number * per_run)
journal.close()
assert failures == [], failures
"""


def looks(path: Path, runs: int, per_run: int) -> list[list[int]]:
    """After each run: readings so far, KiB resident, bytes of the log, open files."""
    command = [sys.executable, "-c", PROGRAM, str(path), str(runs), str(per_run)]
    output = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False)
    assert output.returncode == 0, output.stderr[-2000:]
    return [list(map(int, line.split())) for line in output.stdout.splitlines()]


def check_flat(path: Path, runs: int, per_run: int) -> None:
    seen = looks(path, runs, per_run)
    settled = seen[len(seen) // 3 :]
    growth_mib = (settled[-1][1] - settled[0][1]) / 1024
    readings = settled[-1][0] - settled[0][0]
    largest_wal, files = max(row[2] for row in seen), {row[3] for row in settled}
    size = path.stat().st_size
    print(
        f"{seen[-1][0]} readings in {runs} runs: {seen[-1][1] / 1024:.0f} MiB resident, "
        f"{growth_mib:+.1f} MiB over the last {readings}; log at most {largest_wal / 2**20:.1f} MiB; "
        f"open files {sorted(files)}; file {size / seen[-1][0]:.1f} bytes a reading"
    )
    assert growth_mib <= 10
    assert largest_wal <= 4 * WAL_LIMIT
    assert max(files) - min(files) <= 1
    assert findings(path)[0].sound
    with history.reading(path) as connection:
        assert len(history.list_runs(connection, 10_000)) == runs


def test_memory_files_and_log_stay_flat_over_a_few_runs(tmp_path: Path) -> None:
    check_flat(tmp_path / "s.sqlite", runs=9, per_run=1_500)


@pytest.mark.full
def test_a_million_readings(tmp_path: Path) -> None:
    check_flat(tmp_path / "s.sqlite", runs=60, per_run=17_000)


@pytest.mark.soak
def test_ten_million_readings(tmp_path: Path) -> None:
    check_flat(tmp_path / "s.sqlite", runs=600, per_run=17_000)
