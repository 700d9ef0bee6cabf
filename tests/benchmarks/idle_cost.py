"""What a service costs between runs: instruments at one reading a second, nobody watching.

CPU as a share of one core, resident memory, over some seconds after start-up.
"""

from __future__ import annotations

import contextlib
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from logger.app.children import first_json_line, start_child, stop_child
from logger.app.demo_broker import start_broker
from logger.app.paths import DataFolder
from tests.benchmarks.logging_cpu import cpu_s, write_bench

SECONDS = 30.0
SETTLE_S = 10.0


def resident_mib(pid: int) -> float:
    """Resident memory of a process."""
    text = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    return next(int(line.split()[1]) for line in text.splitlines() if line.startswith("VmRSS")) / 1024


def measure(seconds: float = SECONDS) -> dict[str, float]:
    """Starts a whole service with a broker, waits, measures."""
    with tempfile.TemporaryDirectory() as root, contextlib.ExitStack() as stack:
        folder = Path(root)
        DataFolder(folder).prepare()
        feeder = subprocess.Popen(
            [sys.executable, "-m", "tests.benchmarks.feeder", "1", "1"], stdout=subprocess.PIPE
        )
        stack.callback(stop_child, feeder)
        (ports,) = first_json_line(feeder, folder / "feeder.log")
        broker = stack.enter_context(start_broker())
        bench = write_bench(folder, list(ports), broker.port, hz=1.0)
        service = start_child("serve", "--data", root, "--bench", str(bench), log=folder / "serve.log")
        stack.callback(stop_child, service)
        time.sleep(SETTLE_S)
        before = cpu_s(service.pid)
        time.sleep(seconds)
        used = cpu_s(service.pid) - before
        return {"cpu_pct": 100 * used / seconds, "resident_mib": resident_mib(service.pid)}
