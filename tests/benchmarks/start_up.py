"""Start-up times: `python -m tests.benchmarks.start_up [ROUNDS]`.

From `lastgrain serve` to the first reading shown, and from `lastgrain` (the console, service already up) to its
first whole screen, against a bare Textual app that draws one word. Seconds of wall time, median of the rounds.
"""

from __future__ import annotations

import asyncio
import json
import os
import pty
import re
import signal
import statistics
import sys
import tempfile
import time
from pathlib import Path

from logger.app.children import start_child, stop_child
from logger.service.client import ServiceClient
from tests.system.real_bench import RealBench

BARE = "from textual.app import App\nfrom textual.widgets import Static\n"
BARE += "class A(App):\n    def compose(self):\n        yield Static('IDLE')\nA().run()\n"


def drawn_s(command: list[str], word: bytes) -> float:
    """Seconds from start until `word` is on the screen of a 80x24 terminal."""
    start_s = time.monotonic()
    pid, master = pty.fork()
    if pid == 0:
        os.environ.update(TERM="xterm-256color", COLUMNS="80", LINES="24")
        os.execv(command[0], command)
    seen = b""
    try:
        while word not in re.sub(rb"\x1b\[[0-9;?]*[A-Za-z]", b"", seen):
            seen += os.read(master, 65536)
            if time.monotonic() - start_s > 20:
                raise TimeoutError(seen[-500:])
        return time.monotonic() - start_s
    finally:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        os.close(master)


async def first_reading_s(bench: RealBench) -> float:
    """Seconds from the service's start to the first picture with a mass and a pressure."""
    client = ServiceClient(bench.data.socket, retry_s=0.02)
    watching = asyncio.create_task(client.run())
    start_s = time.monotonic()
    options = ["--data", str(bench.root), "--bench", str(bench.bench_file)]
    bench.service = start_child("serve", *options, log=bench.root / "serve.log")
    try:
        while True:
            picture = client.watch().snapshot
            if (
                picture is not None
                and picture.mass.value_g is not None
                and picture.pressure.dp_pa is not None
            ):
                return time.monotonic() - start_s
            await asyncio.sleep(0.01)
    finally:
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)


def main() -> None:
    """Measures and prints."""
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    first, console, bare = [], [], []
    with tempfile.TemporaryDirectory(prefix="lastgrain-start-") as root:
        bench = RealBench(Path(root), speed=1.0, hands=False)
        bench.start_rig()
        bench.write_bench()
        try:
            for _ in range(rounds):
                first.append(asyncio.run(first_reading_s(bench)))
                command = [sys.executable, "-m", "logger.cli", "--data", root]
                console.append(drawn_s(command, b"Start a new run"))
                bare.append(drawn_s([sys.executable, "-c", BARE], b"IDLE"))
                if bench.service is not None:
                    stop_child(bench.service)
        finally:
            for child in (bench.service, bench.rig):
                if child is not None:
                    stop_child(child)
    result = {
        "first_reading_s": round(statistics.median(first), 2),
        "console_s": round(statistics.median(console), 2),
        "bare_textual_app_s": round(statistics.median(bare), 2),
        "console_to_bare": round(statistics.median(console) / statistics.median(bare), 2),
    }
    print(json.dumps(result))


if __name__ == "__main__":
    main()
