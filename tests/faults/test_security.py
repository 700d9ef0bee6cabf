"""What the installed service keeps to itself: its password, its files, its sockets, its instruments."""

from __future__ import annotations

import asyncio
import json
import os
import re
import signal
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from logger.publish.settings import CREDENTIAL_NAME, PASSWORD_VARIABLE
from tests.publish.mosquitto import free_port
from tests.publish.raw_broker import RawBroker, raw_broker
from tests.system.real_bench import START, RealBench, real_bench

pytestmark = pytest.mark.asyncio
CANARY = "canary-5ab1-x7"
REFUSED_LOGIN = 0x86
"""MQTT 5 reason code "bad user name or password" (OASIS MQTT 5.0, table 2-6, from memory)."""


def broker_table(port: int, *more: str) -> str:
    lines = [
        "[broker]",
        'host = "127.0.0.1"',
        f"port = {port}",
        'username = "bench"',
        "insecure = true",
        *more,
    ]
    return "\n".join(lines) + "\n"


def give(way: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Puts the canary where the service looks for it; lines for the bench file."""
    monkeypatch.delenv(PASSWORD_VARIABLE, raising=False)
    if way == "environment":
        monkeypatch.setenv(PASSWORD_VARIABLE, CANARY)
    if way == "file":
        secret = folder / "secret"
        secret.touch(mode=0o600)
        secret.write_text(CANARY + "\n", encoding="utf-8")
        return [f'password_file = "{secret}"']
    if way == "credentials":
        secrets = folder / "credentials"
        secrets.mkdir()
        (secrets / CREDENTIAL_NAME).write_text(CANARY, encoding="utf-8")
        monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(secrets))
    return []


def holding(root: Path) -> list[str]:
    """Files under `root` in which the canary stands."""
    return [str(path) for path in root.rglob("*") if path.is_file() and CANARY.encode() in path.read_bytes()]


def command_lines() -> str:
    """What every user of the machine can see of every process."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            found.append(entry.read_bytes().replace(b"\0", b" ").decode("utf-8", "replace"))
        except OSError:
            continue
    return "\n".join(found)


@pytest.mark.parametrize(
    ("way", "whole"),
    [
        ("file", False),
        pytest.param("file", True, marks=pytest.mark.full),
        pytest.param("environment", False, marks=pytest.mark.full),
        pytest.param("credentials", False, marks=pytest.mark.full),
    ],
)
async def test_the_password_is_used_and_stands_nowhere(
    way: str, whole: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused first, then taken; a run, what the commands say of it, and the end by a signal."""
    secrets = tmp_path / "elsewhere"
    secrets.mkdir()
    more = give(way, secrets, monkeypatch)
    logins: list[bytes] = []
    async with _LoginRecorder(logins) as broker:
        broker.connack = REFUSED_LOGIN
        async with real_bench(
            tmp_path / "data", speed=60.0, broker=broker_table(broker.port, *more)
        ) as bench:
            picture = await bench.until(lambda p: p.broker.state == "refused")
            assert any(CANARY.encode() in login for login in logins), "the fault bites: it was sent"
            pictures = [repr(picture)]
            broker.connack = 0
            await bench.do("start", **START)
            picture = await bench.operate("awaiting_review" if whole else "taring")
            if not whole:
                await bench.do("abort", reason="end of test")
                await bench.until(lambda p: "start" in p.can)
            pictures.append(repr(picture))
            assert CANARY not in command_lines()
            shown = [
                await asyncio.to_thread(_lastgrain, bench, *words)
                for words in _COMMANDS[: None if whole else 2]
            ]
            await asyncio.to_thread(bench.end_service, signal.SIGTERM)
            assert holding(bench.root) == []
    assert CANARY not in "".join(pictures) + "".join(shown)
    assert CANARY not in json.dumps([body for _, body in broker.published])


_COMMANDS = (
    ("runs", "list", "--json"),
    ("runs", "show", "1"),
    ("runs", "show", "1", "--json"),
    ("runs", "export", "1", "--bundle", "--to", "out"),
    ("runs", "export", "--csv", "--to", "out"),
    ("runs", "verify"),
    ("schema", "bench"),
    ("serve",),
)


def _lastgrain(bench: RealBench, *words: str) -> str:
    command = [
        sys.executable,
        "-m",
        "logger.cli",
        "--data",
        str(bench.root),
        "--bench",
        str(bench.bench_file),
    ]
    done = subprocess.run(
        [*command, *words], capture_output=True, text=True, timeout=60, cwd=bench.root, check=False
    )
    return done.stdout + done.stderr


class _LoginRecorder:
    """A raw broker whose connections are also kept as bytes."""

    def __init__(self, logins: list[bytes]) -> None:
        self._logins = logins

    async def __aenter__(self) -> RawBroker:
        self._broker = RawBroker()
        self._inner = raw_broker(self._broker)
        broker = await self._inner.__aenter__()
        whole = broker.port
        self._server = await asyncio.start_server(lambda r, w: self._pass(r, w, whole), "127.0.0.1", 0)
        broker.port = self._server.sockets[0].getsockname()[1]
        return broker

    async def __aexit__(self, *error: object) -> None:
        self._server.close()
        await self._inner.__aexit__(None, None, None)

    async def _pass(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, port: int) -> None:
        inner_reader, inner_writer = await asyncio.open_connection("127.0.0.1", port)

        async def answers() -> None:
            while data := await inner_reader.read(65536):
                writer.write(data)
            writer.close()

        back = asyncio.create_task(answers())
        while data := await reader.read(65536):
            self._logins.append(data)
            inner_writer.write(data)
        inner_writer.close()
        await asyncio.wait([back])


async def test_a_fault_inside_leaves_no_password_in_its_traceback(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The publisher is broken from outside, with the password in reach of every frame."""
    more = give("file", tmp_path, monkeypatch)
    folder = tmp_path / "patch"
    folder.mkdir()
    (folder / "sitecustomize.py").write_text(_BROKEN_PUBLISHER, encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", f"{folder}:{Path(__file__).parents[2]}")
    table = broker_table(free_port(), *more)
    async with real_bench(tmp_path / "data", broker=table) as bench:
        picture = await bench.until(lambda p: any(a.key == "part-publisher" for a in p.alarms))
        assert CANARY not in repr(picture)
        log = bench.data.log.read_text(encoding="utf-8")
        assert "Traceback" in log
        assert "broken on purpose with BrokerSettings" in log
        assert holding(bench.root) == []


_BROKEN_PUBLISHER = """
import sys

if "serve" in sys.orig_argv:
    import logger.publish.sender as sender

    async def broken(self):
        settings = self._desk.settings
        raise RuntimeError(f"broken on purpose with {settings}")

    sender.Publisher._one_connection = broken
"""


@pytest.fixture
def open_umask() -> Iterator[None]:
    before = os.umask(0)
    yield
    os.umask(before)


async def test_data_is_closed_to_others_whatever_the_umask(tmp_path: Path, open_umask: None) -> None:
    async with real_bench(tmp_path / "data", speed=40.0) as bench:
        await bench.do("start", **START)
        await bench.operate("taring")
        running = {path: stat.S_IMODE(path.lstat().st_mode) for path in bench.root.rglob("*")}
        await bench.do("abort", reason="end of test")
        await bench.until(lambda p: "start" in p.can)
        own = {path: mode for path, mode in running.items() if _is_ours(path.relative_to(bench.root))}
        names = {path.name for path in own}
        assert {"lastgrain.sqlite", "lastgrain.sqlite-wal", "lastgrain.sqlite-shm", "service.log"} <= names
        assert "service.sock" in names
        assert any("head" in name for name in names)
        assert stat.S_IMODE(bench.root.stat().st_mode) == 0o700
        assert {path.name: oct(mode) for path, mode in own.items() if mode & 0o077} == {}


def _is_ours(path: Path) -> bool:
    """Made by the service; the bench file, the rig's log and its ports are the test's."""
    return path.parts[0] not in ("bench.toml", "rig.log", "serve.log", "ports")


def sockets_of(pid: int) -> tuple[list[str], list[str]]:
    """Local addresses of listening TCP sockets, and of UDP sockets, that a process holds. Linux."""
    held = set()
    for entry in Path(f"/proc/{pid}/fd").iterdir():
        try:
            target = str(entry.readlink())
        except OSError:
            continue
        if found := re.fullmatch(r"socket:\[(\d+)\]", target):
            held.add(found.group(1))
    tcp: list[str] = []
    udp: list[str] = []
    for name, into, listening in (
        ("tcp", tcp, "0A"),
        ("tcp6", tcp, "0A"),
        ("udp", udp, ""),
        ("udp6", udp, ""),
    ):
        for line in Path(f"/proc/{pid}/net/{name}").read_text().splitlines()[1:]:
            fields = line.split()
            if fields[9] in held and (not listening or fields[3] == listening):
                into.append(fields[1])
    return tcp, udp


async def test_nothing_listens_but_the_local_socket(tmp_path: Path) -> None:
    async with raw_broker() as broker:
        assert sockets_of(os.getpid())[0], "the look bites: this process listens as a broker"
        async with real_bench(tmp_path / "data", tcp=True, broker=broker_table(broker.port)) as bench:
            await bench.until(lambda p: p.broker.state == "up")
            assert bench.service is not None
            assert sockets_of(bench.service.pid) == ([], [])
            assert stat.S_ISSOCK(bench.data.socket.stat().st_mode)


# --- nothing comes in from the broker --------------------------------------------------------------------

PUBLISH, SUBSCRIBE = 3, 8


def unasked(topic: str, payload: bytes, retain: bool = False) -> bytes:
    """A PUBLISH of QoS 0 as a broker sends it (OASIS MQTT 5.0, 3.3, from memory)."""
    name = topic.encode()
    body = len(name).to_bytes(2, "big") + name + b"\0" + payload
    length, size = b"", len(body)
    while True:
        size, digit = divmod(size, 128)
        length += bytes([digit | (0x80 if size else 0)])
        if not size:
            break
    return bytes([PUBLISH << 4 | retain]) + length + body


ORDERS = [
    b'{"do":"start","args":{"method_id":"m","sample_id":"s","operator_id":"o"}}',
    b'{"do":"abort","args":{"reason":"remote"}}',
    b'{"command":"tare","nonce":"1","expires":"2099-01-01T00:00:00Z","signature":"00"}',
    b"W\r\n",
    b"K1\r\n",
    b"\xff\xfe not json",
    b"[" * 100_000,
    b'{"a":1,"a":2}',
    b'{"n":1' + b"0" * 400 + b"}",
    b'{"n":NaN}',
    b"x" * 10_000_000,
]


@pytest.mark.full
async def test_what_a_broker_sends_unasked_moves_nothing(tmp_path: Path) -> None:
    """It breaks the rules and sends orders nobody subscribed to, retained and not, on topics of ours and others."""
    async with raw_broker() as broker:
        async with real_bench(
            tmp_path / "data", speed=20.0, hands=False, broker=broker_table(broker.port)
        ) as bench:
            await bench.until(lambda p: p.broker.state == "up")
            await bench.do("start", **START)
            await bench.do("acknowledge", name="op-7")
            picture = await bench.until(lambda p: p.state == "taring")
            assert picture.run is not None
            rig_before = await bench.rig_command("status")
            for payload in ORDERS:
                for topic in (
                    "lastgrain/v1/demo-site/bench-1/command",
                    "lastgrain/v1/demo-site/bench-1/status",
                    "x",
                ):
                    for writer in list(broker._writers):
                        if not writer.is_closing():
                            writer.write(unasked(topic, payload, retain=len(payload) % 2 == 0))
            await asyncio.sleep(1.0)
            picture = await bench.until(lambda p: p.state == "taring")
            assert bench.service is not None
            assert bench.service.poll() is None
            status = await bench.rig_command("status")
            assert "suction off" in status
            assert rig_before.split("sieve")[1].split(",")[0] == status.split("sieve")[1].split(",")[0]
            await bench.do("abort", reason="end of test")
            await bench.until(lambda p: "start" in p.can)
            await bench.until(lambda p: p.broker.state == "up" and p.broker.waiting == 0, limit_s=30.0)
            assert picture.run is not None
            kinds = bench.event_kinds(picture.run.run_id)
            log = bench.data.log.stat().st_size
        assert SUBSCRIBE not in broker.other_packets
        assert broker.other_packets == []
    assert kinds.count("aborted") == 1
    assert log < 50_000, "it is not talked about for ever"
