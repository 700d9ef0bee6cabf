"""A person's password against the installed service: it signs, and stands nowhere, hashed or not, but in its table."""

from __future__ import annotations

import asyncio
import json
import os
import pty
import select
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from tests.faults.test_security import CANARY, broker_table, command_lines, holding
from tests.publish.raw_broker import RawBroker, raw_broker
from tests.system.real_bench import START, RealBench, real_bench

HASHED = "argon2"
_SHOWN = (
    ("people", "list", "--json"),
    ("people", "list"),
    ("runs", "show", "1", "--json"),
    ("runs", "export", "1", "--bundle", "--to", "out"),
    ("runs", "export", "1", "--to", "out"),
    ("runs", "export", "--csv", "--to", "out"),
    ("runs", "verify"),
)


def _command(bench: RealBench, *words: str) -> list[str]:
    base = [sys.executable, "-m", "logger.cli", "--data", str(bench.root), "--bench", str(bench.bench_file)]
    return [*base, *words]


def _lastgrain(bench: RealBench, *words: str) -> str:
    """Runs it while everyone looks at the list of processes."""
    child = subprocess.Popen(
        _command(bench, *words),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        cwd=bench.root,
    )
    while child.poll() is None:
        assert CANARY not in command_lines()
        time.sleep(0.05)
    assert child.stdout is not None
    with child.stdout as out:
        return out.read()


@pytest.mark.full
@pytest.mark.asyncio
async def test_a_persons_password_signs_and_stands_nowhere(tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    file = elsewhere / "password"
    file.touch(mode=0o600)
    file.write_text(f"{CANARY}\n", encoding="utf-8")
    me, new = ("--by", "anna", "--password-file", str(file)), ("--new-password-file", str(file))
    roles = ("--role", "admin", "--role", "reviewer")
    broker = RawBroker()
    async with (
        raw_broker(broker),
        real_bench(tmp_path / "data", speed=60.0, broker=broker_table(broker.port)) as bench,
    ):
        await bench.do("start", **START)
        await bench.operate("taring")
        await bench.do("abort", reason="end of test")
        await bench.until(lambda p: "start" in p.can)
        shown = []
        for words in (
            ("people", "add", "anna", "--name", "Anna Adler", *roles, *new),
            ("runs", "sign", "1", "--accept", *me),
            *_SHOWN,
        ):
            shown.append(await asyncio.to_thread(_lastgrain, bench, *words))
        assert "reviewed and accepted by Anna Adler (anna)" in shown[1], "the fault bites: it was used"
        await bench.until(lambda p: p.broker.waiting == 0)
        once = _deliveries(broker)
        assert set(once.values()) == {1}
        shown.append(await asyncio.to_thread(_lastgrain, bench, "runs", "republish", "1", *me))
        await bench.until(lambda p: set(_deliveries(broker).values()) == {2})
        assert _deliveries(broker).keys() == once.keys(), "the same numbers and ids, and no others"
        assert holding(bench.root) == []
        _look_into_the_store(bench.root / "lastgrain.sqlite")
        logs = "".join(path.read_text(errors="replace") for path in bench.root.glob("*.log*"))
        made = b"".join(path.read_bytes() for path in (bench.root / "out").rglob("*") if path.is_file())
    published = json.dumps([body for _, body in broker.published])
    assert "reviewed and accepted" in published, "the fault bites: the signature went to the plant"
    for text in (*shown, logs, published, made.decode("utf-8", "replace")):
        assert CANARY not in text
        assert HASHED not in text


def _deliveries(broker: RawBroker) -> Counter[tuple[int, str]]:
    """How often each numbered message arrived."""
    bodies = [body for topic, body in broker.published if topic.rpartition("/")[2] in ("event", "record")]
    return Counter((body["seq"], body["message_id"]) for body in bodies)


def _look_into_the_store(path: Path) -> None:
    """The hash is in its own table and in no other."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as store:
        assert HASHED in str(store.execute("SELECT * FROM secret").fetchall())
        for table in ("register", "record", "outbox", "batch", "run", "meta", "attempt"):
            assert HASHED not in str(store.execute(f"SELECT * FROM {table}").fetchall()), table


@pytest.mark.full
def test_a_password_typed_at_a_terminal_is_not_echoed(tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    words = ("people", "add", "anna", "--name", "Anna Adler", "--role", "admin")
    bench = Path(__file__).parents[2] / "config" / "benches" / "demo-beside.toml"
    child = subprocess.Popen(
        [sys.executable, "-m", "logger.cli", "--data", str(tmp_path / "data"), "--bench", str(bench), *words],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        start_new_session=True,
        preexec_fn=_own_terminal,
    )
    os.close(theirs)
    seen = _until(ours, "anna: ")
    for _ in range(2):
        os.write(ours, f"{CANARY}\n".encode())
        seen += _until(ours, "again: ", "set.")
    assert child.wait(60) == 0, seen
    os.close(ours)
    assert "A new password of anna is set." in seen
    assert CANARY not in seen


def _own_terminal() -> None:
    import fcntl
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def _until(terminal: int, *words: str) -> str:
    seen, end_s = "", time.monotonic() + 60
    while not any(word in seen for word in words):
        assert time.monotonic() < end_s, seen
        if select.select([terminal], [], [], 1.0)[0]:
            try:
                seen += os.read(terminal, 4096).decode("utf-8", "replace")
            except OSError:
                break
    return seen
