"""CPU of the service against a naive logger: `python -m tests.benchmarks.logging_cpu [SECONDS]`.

Both log 20 + 20 readings a second from the same feed, to disk and by QoS 1 to the same broker, side by side
in one run. The service syncs its journal to the disk and chains it; the naive script only flushes. Prints CPU
seconds per hour of logging and their ratio. Start-up is not counted.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from logger.app.children import first_json_line, start_child, stop_child
from logger.app.demo import broker_table
from logger.app.demo_broker import start_broker
from logger.app.paths import DataFolder
from logger.core.snapshot import Snapshot
from logger.service.client import ServiceClient
from logger.settings import config_dir

HZ = 20.0
TICKS = os.sysconf("SC_CLK_TCK")


def cpu_s(pid: int) -> float:
    """CPU seconds of a process so far, user and system, all threads."""
    fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / TICKS


def write_bench(folder: Path, ports: list[str], broker_port: int, hz: float = HZ) -> Path:
    """A bench file whose profiles expect `hz` lines a second."""
    for name in ("streamed-line-balance", "streamed-line-pressure"):
        text = (config_dir() / "profiles" / f"{name}.toml").read_text(encoding="utf-8")
        text = re.sub(r"(?m)^period_s = .*", f"period_s = {1 / hz}", text)
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    text = (config_dir() / "benches" / "demo-beside.toml").read_text(encoding="utf-8")
    text = text.replace("polled-line-balance", str(folder / "streamed-line-balance.toml"))
    text = text.replace('"streamed-line-pressure"', f'"{folder / "streamed-line-pressure.toml"}"')
    text = text.replace("/dev/serial/by-id/BALANCE", ports[0]).replace("/dev/serial/by-id/PRESSURE", ports[1])
    path = folder / "bench.toml"
    path.write_text(
        text + broker_table(f"mqtt://127.0.0.1:{broker_port}") + "readings = true\n", encoding="utf-8"
    )
    return path


async def open_run(socket: Path) -> Snapshot:
    """Starts a run, so that readings are journalled; nobody watches afterwards."""
    client = ServiceClient(socket, retry_s=0.1)
    watching = asyncio.create_task(client.run())
    start = {"method_id": "filler-45-interval", "sample_id": "bench", "operator_id": "bench"}
    try:
        async with asyncio.timeout(30):
            while True:
                await asyncio.sleep(0.1)
                picture = client.watch().snapshot
                if picture is None or any(link.state != "up" for link in picture.links):
                    continue
                if picture.run is not None:
                    return picture
                reply = await client.command("start", **start)
                if not reply.ok:
                    raise RuntimeError(reply.text)
    finally:
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)


def measure(seconds: float, folder: Path) -> tuple[float, float]:
    """CPU seconds of service and naive script over the same stretch of time."""
    data = DataFolder(folder)
    data.prepare()
    feeder = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.feeder", str(HZ), "2"], stdout=subprocess.PIPE
    )
    with contextlib.ExitStack() as stack:
        stack.callback(stop_child, feeder)
        ours, naive_ports = first_json_line(feeder, folder / "feeder.log")
        broker = stack.enter_context(start_broker())
        bench = write_bench(folder, list(ours), broker.port)
        service = start_child("serve", "--data", str(folder), "--bench", str(bench), log=folder / "serve.log")
        stack.callback(stop_child, service)
        asyncio.run(open_run(data.socket))
        arguments = [*naive_ports, str(broker.port), str(folder), str(seconds + 30)]
        naive = subprocess.Popen([sys.executable, "-m", "tests.benchmarks.naive_logger", *arguments])
        stack.callback(stop_child, naive)
        asyncio.run(asyncio.sleep(3.0))
        before = cpu_s(service.pid), cpu_s(naive.pid)
        asyncio.run(asyncio.sleep(seconds))
        after = cpu_s(service.pid), cpu_s(naive.pid)
    return after[0] - before[0], after[1] - before[1]


def main() -> None:
    """Measures and prints."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    with tempfile.TemporaryDirectory(prefix="lastgrain-bench-") as root:
        ours, naive = measure(seconds, Path(root))
    hour = 3600 / seconds
    result = {
        "seconds": seconds,
        "service_cpu_s_per_h": round(ours * hour, 1),
        "naive_cpu_s_per_h": round(naive * hour, 1),
        "ratio": round(ours / naive, 2),
    }
    print(json.dumps(result))


if __name__ == "__main__":
    main()
