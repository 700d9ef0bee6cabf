"""`lastgrain doctor`: each fault is found, placed and comes with what to do; a sound bench has none."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from drivers.port_lock import port_users
from drivers.pty_ends import serves
from logger.app.doctor import computer, instruments, records
from logger.app.doctor.bench import find_bench, methods_and_rig
from logger.app.doctor.examine import examine
from logger.app.doctor.findings import Finding, as_json, exit_code, ok, page, wrong
from logger.app.paths import DataFolder
from logger.settings import config_dir
from logger.store.lock import InstanceLock
from logger.store.schema import APPLICATION_ID
from tests.app.stores import MadeStore
from tests.app.test_setup import streaming
from tests.drivers.peers import run_async

NOW = datetime(2026, 6, 1, tzinfo=UTC)


def bench_file(folder: Path, kind: str = "beside", **more: str) -> Path:
    """An example bench with some of its texts replaced: `old=new`, spaces as underscores in the keys."""
    text = (config_dir() / "benches" / f"demo-{kind}.toml").read_text(encoding="utf-8")
    for old, new in more.items():
        assert old in text, old
        text = text.replace(old, new)
    path = folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return path


def with_ports(folder: Path, balance: str, pressure: str) -> Path:
    path = bench_file(folder, "under")
    text = path.read_text().replace("/dev/serial/by-id/BALANCE", balance)
    path.write_text(text.replace("/dev/serial/by-id/PRESSURE", pressure))
    return path


def bad(findings: list[Finding]) -> list[Finding]:
    found = [finding for finding in findings if finding.level != "ok"]
    assert all(finding.todo for finding in found)
    return found


def test_a_sound_bench_without_a_service_has_nothing_wrong(tmp_path: Path) -> None:
    async def body() -> list[Finding]:
        async with streaming("streamed-line-balance", "streamed-line-pressure") as ports:
            return await examine(DataFolder(tmp_path), with_ports(tmp_path, *ports))

    findings = run_async(body())

    assert [finding for finding in findings if finding.level == "wrong"] == []
    assert exit_code(findings) == 0
    assert as_json(findings)["sound"] is True
    assert "readings came, the last is 1.5 g" in page(findings)


def test_swapped_ports_and_a_silent_one_are_told(tmp_path: Path) -> None:
    async def body() -> list[Finding]:
        async with streaming("streamed-line-pressure") as ports:
            path = with_ports(tmp_path, ports[0], "socket://127.0.0.1:9")
            return await examine(DataFolder(tmp_path), path, try_s=0.8)

    findings = run_async(body())

    found = [finding for finding in bad(findings) if finding.area == "instruments"]
    assert "the ports may be swapped" in found[0].what
    assert "nothing listens at socket://127.0.0.1:9" in found[1].what.lower()
    assert exit_code(findings) == 4


@contextlib.contextmanager
def terminal_pair() -> Iterator[str]:
    """A pseudo terminal whose far end this process holds, as a virtual rig does; gives its name."""
    master, slave = os.openpty()
    try:
        yield os.ttyname(slave)
    finally:
        os.close(slave)
        os.close(master)


@contextlib.contextmanager
def opened_elsewhere(port: str) -> Iterator[int]:
    """Another process has the port open without our lock; gives its number."""
    command = ["import sys; held = open(sys.argv[1]); print('open', flush=True); sys.stdin.read()", port]
    with subprocess.Popen(
        [sys.executable, "-c", *command], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "open\n"
        yield holder.pid
        holder.communicate("")


def test_a_missing_a_forbidden_and_a_busy_port_are_told_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    absent = instruments.port_trouble(str(tmp_path / "none"), "balance")
    assert absent is not None
    assert "is not there" in absent.what
    with terminal_pair() as port:
        with opened_elsewhere(port) as process:
            busy = instruments.port_trouble(port, "balance")
            assert not serves(process, port)
        assert busy is not None
        assert f"the port is already open in process {process} (" in busy.what
        assert "," not in busy.what  # the far end's holder is not named with it
        monkeypatch.setattr("logger.app.doctor.instruments.may_open", lambda device: False)
        forbidden = instruments.port_trouble(port, "balance")
    assert forbidden is not None
    assert "usermod -aG" in forbidden.todo
    assert instruments.port_trouble("socket://127.0.0.1:9", "balance") is None


def test_a_virtual_rig_is_no_user_of_the_ports_it_serves(tmp_path: Path) -> None:
    with terminal_pair() as port, terminal_pair() as another:
        link = tmp_path / "balance"
        link.symlink_to(port)
        assert os.getpid() in [user.process for user in port_users(port)]

        assert instruments.port_trouble(str(link), "balance") is None
        assert serves(os.getpid(), port)
        assert serves(os.getpid(), another)
    assert not serves(os.getpid(), port)
    assert not serves(os.getpid(), str(tmp_path / "none"))


def test_a_mistake_in_the_bench_file_is_told_with_its_line(tmp_path: Path) -> None:
    bench, findings = find_bench(bench_file(tmp_path, **{"readability_g": "readabilty_g"}))

    assert bench is None
    assert "line" in findings[0].where
    assert exit_code(findings) == 2
    _, missing = find_bench(tmp_path / "none.toml")
    assert "lastgrain setup" in missing[0].todo


def test_an_old_blank_run_and_a_method_the_rig_cannot_meet_are_told(tmp_path: Path) -> None:
    rig = tmp_path / "rig.toml"
    rig.write_text('readability_g = 1.0\nflicker_rms_g = 0.5\nmeasured_at = "2025-01-01"\nvalid_days = 90\n')
    path = bench_file(tmp_path, "under", **{'file = "demo-platform"': 'file = "rig.toml"'})
    bench, _ = find_bench(path)
    assert bench is not None

    findings = bad(list(methods_and_rig(bench, path, NOW)))

    assert "516 days old and was valid for 90" in findings[0].what
    assert findings[1].where == "method filler-45-live"
    assert findings[1].level == "wrong"


def test_the_clock_is_judged_by_year_and_by_the_store(tmp_path: Path) -> None:
    made = MadeStore(DataFolder(tmp_path))
    made.data.prepare()
    unset = list(computer.clock(made.data, datetime(1970, 1, 1, tzinfo=UTC)))
    assert unset[0].level == "wrong"
    with closing(sqlite3.connect(made.data.store)) as connection:
        connection.execute("CREATE TABLE batch (utc TEXT)")
        connection.execute("INSERT INTO batch VALUES ('2026-06-01T10:00:00.000Z')")
        connection.commit()

    assert next(iter(computer.clock(made.data, NOW))).what.startswith(
        "the clock shows 2026-06-01T00:00:00Z, but"
    )
    assert next(iter(computer.clock(made.data, NOW + timedelta(hours=10)))).level != "wrong"


def test_versions_room_and_rights_of_the_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    data = DataFolder(tmp_path)
    tmp_path.chmod(0o755)
    found = list(computer.data_folder(data))
    assert "others may enter it (mode 0755)" in found[0].what
    monkeypatch.setattr(computer, "free_bytes", lambda path: 10_000_000)
    assert "10 MB free: a run could not be kept" in list(computer.data_folder(data))[-1].what
    monkeypatch.setattr(computer, "LEAST_SQLITE", (99, 0))
    assert "SQLite 3" in bad(list(computer.versions()))[0].what


def test_a_damaged_store_and_one_of_another_program_are_told(tmp_path: Path) -> None:
    data = DataFolder(tmp_path)
    assert exit_code(list(records.store(data))) == 0
    data.store.write_bytes(b"no database " * 1000)
    damaged = list(records.store(data))
    assert exit_code(damaged) == 5
    assert "lastgrain restore" in bad(damaged)[0].todo
    data.store.unlink()
    with closing(sqlite3.connect(data.store)) as connection:
        connection.execute("CREATE TABLE theirs (x)")
    other = bad(list(records.store(data)))

    assert "was not written by Lastgrain" in other[0].what
    data.store.unlink()
    with closing(sqlite3.connect(data.store)) as connection:
        connection.executescript(f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = 1")
    older = bad(list(records.store(data)))
    assert "start the service once" in older[0].what
    assert older[0].todo == "keep the file"


def test_a_broker_that_does_not_answer_is_told_and_costs_nothing_else(tmp_path: Path) -> None:
    path = bench_file(tmp_path)
    path.write_text(path.read_text() + '\n[broker]\nhost = "127.0.0.1"\nport = 9\n')
    bench, _ = find_bench(path)
    assert bench is not None

    async def body() -> list[Finding]:
        return [finding async for finding in records.broker(bench, path)]

    findings = run_async(body())

    assert findings[0].where == "127.0.0.1:9"
    assert exit_code(findings) == 6


def test_a_service_that_holds_the_folder_and_is_silent_is_told(tmp_path: Path) -> None:
    data = DataFolder(tmp_path)
    data.prepare()
    with InstanceLock(data.lock):
        _, findings = run_async(records.service(data))
    assert f"process {os.getpid()} holds this data folder" in findings[0].what
    _, free = run_async(records.service(data))
    assert free[0].level == "ok"


def test_the_first_area_with_a_fault_gives_the_exit_code() -> None:
    assert exit_code([ok("store", "x")]) == 0
    assert exit_code([wrong("broker", "x", "y"), wrong("store", "x", "y")]) == 5
    assert exit_code([wrong("broker", "x", "y"), wrong("bench file", "x", "y")]) == 2
