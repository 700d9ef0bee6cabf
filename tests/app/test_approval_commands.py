"""method approve, withdraw, approvals; and files that a service finds changed."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from logger.app.bench_files import methods_and_files
from logger.app.clock import utc_now
from logger.app.office import opened
from logger.app.plan import bench_plan
from logger.app.register import read_entries
from logger.app.seen_files import found_files, note_files
from logger.settings import load_bench
from logger.store import secrets
from logger.store.register import StoreRegister
from tests.app.stores import BENCH, MadeStore, made_store
from tests.app.test_people_commands import add_admin, secret

METHOD = "filler-45-interval"


@pytest.fixture(autouse=True)
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """The real hash with little work."""
    made = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(secrets, "hasher", lambda: made)


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    return made_store(tmp_path / "data")


def test_a_method_is_approved_and_withdrawn(store: MadeStore, tmp_path: Path) -> None:
    assert "none is asked for" in store("method", "approvals").out
    add_admin(store, tmp_path)
    me = ("--by", "anna", "--password-file", secret(tmp_path))
    assert "is approved by Anna Adler, in force from" in store("method", "approve", METHOD, *me).out
    later = store("method", "approve", METHOD, "--from", "2999-01-01", *me)
    assert later.code == 0
    assert [each["standing"] for each in store("method", "approvals", "--json").json] == [
        "in force",
        "to come",
    ]
    assert "There is no method 'x'" in store("method", "approve", "x", *me).err
    assert store("method", "withdraw", METHOD, "--revision", "1", "--why", "limit", *me).code == 0
    assert [each["standing"] for each in store("method", "approvals", "--json").json] == ["withdrawn"] * 2
    assert "withdrawn" in store("method", "approvals").out
    assert store("runs", "verify").code == 0


def test_a_service_enters_changed_files_once(store: MadeStore, tmp_path: Path) -> None:
    bench_path = tmp_path / "bench.toml"
    shutil.copy(BENCH, bench_path)

    def start() -> str:
        bench = load_bench(bench_path)
        methods = {name: path for name, (_, path) in methods_and_files(bench, bench_path).items()}
        plan = bench_plan(bench)
        with opened(store.data) as journal:
            register = StoreRegister(store.data.store, journal.writer, plan.checks)
            return note_files(register, found_files(bench, bench_path, methods), plan, utc_now())

    assert "bench bench.toml" in start()
    assert start() == ""
    bench_path.write_text(bench_path.read_text() + "\n# another tolerance\n")
    assert start() == "bench bench.toml"
    entries = read_entries(store.data)
    assert [entry["kind"] for entry in entries] == ["files_seen", "files_seen"]
    (file,) = entries[1]["data"]["files"]
    assert file["before"] == entries[0]["data"]["files"][0]["sha256"]
