"""The demo: broker, virtual rig and service as separate programs on real ports, and a run through all of it."""

from __future__ import annotations

import asyncio
import contextlib
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

from logger.app.attach import wait_for_service
from logger.app.children import ChildError, first_json_line, start_child, stop_child
from logger.app.demo_broker import DemoBrokerError, start_broker
from logger.app.operator import OPERATOR, DemoStuckError, HeadlessOperator
from logger.app.paths import DEMO_BENCH, DataFolder
from logger.app.register import enter
from logger.core.refusal import ResultError
from logger.core.register.events import RegisterKind
from logger.core.text import printable_json
from logger.settings import ConfigError, config_dir
from logger.store.history import reading, record_body
from logger.store.lock import InstanceLock

HEADLESS_LIMIT_S = 600.0
START = {
    "sample_id": "DEMO-0001",
    "operator_id": OPERATOR,
    "lot": "LOT-17",
    "point": "mill 2, after classifier",
}
SIEVE: dict[str, Any] = {
    "id": "DEMO-45-01",
    "aperture_um": 45.0,
    "frame_mm": 200.0,
    "standard": "ISO 3310-1:2016",
    "certificate": "invented",
    "certified_on": "2026-01-05",
}
MODES = {"interval": "beside", "live": "under"}


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoOptions:
    """What `lastgrain demo` was asked for. `broker` is a URL, None for the demo's own."""

    headless: bool
    speed: float
    seed: int
    scenario: str
    mode: Literal["live", "interval"]
    broker: str | None
    data: DataFolder | None


def demo(options: DemoOptions) -> int:
    """Runs it. Returns the exit code: 0, 2 for a wrong option, 4 when the rig or the run fails."""
    try:
        with _folder(options) as data, _broker_table(options) as broker, _rig(options, data) as ports:
            bench = _write_bench(options, data, ports, broker)
            _register_sieve(data, bench)
            with _service(options, data, bench):
                return _headless(options, data) if options.headless else _console(options, data)
    except (ChildError, DemoStuckError) as error:
        print(error, file=sys.stderr)
        return 4
    except DemoBrokerError as error:
        print(error, file=sys.stderr)
        return 6


@contextlib.contextmanager
def _folder(options: DemoOptions) -> Iterator[DataFolder]:
    """The folder asked for, or one that goes with the demo."""
    if options.data is not None:
        _require_no_bench(options.data)
        options.data.prepare()
        InstanceLock(
            options.data.lock
        ).release()  # StoreError where a service runs: its bench is not to be led
        yield options.data
        return
    with tempfile.TemporaryDirectory(prefix="lastgrain-demo-") as root:
        data = DataFolder(Path(root))
        data.prepare()
        yield data


def _require_no_bench(data: DataFolder) -> None:
    """Simulated runs and a simulated sieve have no place among those of a bench. Raises ConfigError."""
    of_a_demo = (data.root / DEMO_BENCH).exists() or not data.store.exists()
    if not of_a_demo or (data.root / "bench.toml").exists():
        raise ConfigError(
            data.root,
            "is the folder of a bench, and a demo would add simulated runs to it; name another folder with "
            "--data, or leave it out",
        )


@contextlib.contextmanager
def _broker_table(options: DemoOptions) -> Iterator[str]:
    """The bench file's broker table: a broker of our own on this machine, or the one asked for."""
    if options.broker is not None:
        yield broker_table(options.broker)
        return
    with start_broker() as broker:
        yield broker_table(f"mqtt://127.0.0.1:{broker.port}")


def broker_table(url: str) -> str:
    """`mqtt://HOST:PORT` (plain, said so) or `mqtts://HOST:PORT` as a bench file's table. Raises DemoBrokerError."""
    try:
        parts = urlsplit(url)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port, parts = None, None, urlsplit("")
    if parts.scheme not in ("mqtt", "mqtts") or not host or parts.password:
        raise DemoBrokerError(
            f"--broker {url}: give mqtt://HOST:PORT or mqtts://HOST:PORT, without a password in it."
        )
    plain = parts.scheme == "mqtt"
    lines = ["[broker]", f'host = "{host}"', f"port = {port or (1883 if plain else 8883)}"]
    return "\n".join([*lines, f"insecure = {'true' if plain else 'false'}", ""])


@contextlib.contextmanager
def _rig(options: DemoOptions, data: DataFolder) -> Iterator[dict[str, str]]:
    log = data.root / "rig.log"
    arguments = ["--scenario", options.scenario, "--seed", str(options.seed), "--speed", str(options.speed)]
    child = start_child(
        "simulate",
        *arguments,
        "--json",
        "--follow",
        str(data.socket),
        "--arrangement",
        MODES[options.mode],
        "--link-dir",
        str(data.root / "ports"),
        log=log,
    )
    with _ending(child):
        yield first_json_line(child, log)


def _write_bench(options: DemoOptions, data: DataFolder, ports: dict[str, str], broker: str) -> Path:
    text = (config_dir() / "benches" / f"demo-{MODES[options.mode]}.toml").read_text(encoding="utf-8")
    text = text.replace("/dev/serial/by-id/BALANCE", ports["mass"])
    text = text.replace("/dev/serial/by-id/PRESSURE", ports["pressure"])
    path = data.root / DEMO_BENCH
    path.write_text(f"{text}\n{broker}", encoding="utf-8")
    return path


def _register_sieve(data: DataFolder, bench: Path) -> None:
    """The simulated rig's test sieve, so that the run has one to name; a folder used before has it already."""
    with contextlib.suppress(ResultError):
        enter(data, lambda: bench, RegisterKind.SIEVE_ADDED, SIEVE, OPERATOR, "simulated")


@contextlib.contextmanager
def _service(options: DemoOptions, data: DataFolder, bench: Path) -> Iterator[None]:
    child = start_child(
        "serve",
        "--data",
        str(data.root),
        "--bench",
        str(bench),
        "--speed",
        str(options.speed),
        "--simulated",
        log=data.root / "serve.log",
    )
    with _ending(child):
        wait_for_service(child, data.socket, data.root / "serve.log")
        yield


@contextlib.contextmanager
def _ending(child: subprocess.Popen[bytes]) -> Iterator[None]:
    try:
        yield
    finally:
        stop_child(child)


def _headless(options: DemoOptions, data: DataFolder) -> int:
    method = f"filler-45-{options.mode}"
    start = START | {"method_id": method, "sieve_id": SIEVE["id"]}
    run_id = asyncio.run(HeadlessOperator(data.socket, start, HEADLESS_LIMIT_S).run())
    with reading(data.store) as connection:
        body = record_body(connection, run_id)
    print(printable_json(body))
    return 0 if body is not None and body["result"] is not None else 4


def _console(options: DemoOptions, data: DataFolder) -> int:
    from logger.app.console_report import report_writer
    from logger.console.entry import run_console

    code = run_console(data.socket, OPERATOR, write_report=report_writer(data), lasting=False)
    kept = (
        f"Its runs stay in {data.root}." if options.data else "Its runs went with it: --data DIR keeps them."
    )
    print(f"The demo has ended. {kept}")
    return code
