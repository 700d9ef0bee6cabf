"""people as a person meets it: the first admin, passwords from files of mode 0600, and what stands nowhere."""

from __future__ import annotations

from pathlib import Path

import pytest
from argon2 import PasswordHasher

from logger.app.cli_base import GLOBALS, the_bench, the_kept_bench
from logger.app.paths import DataFolder
from logger.settings.errors import ConfigError
from logger.store import secrets
from tests.app.stores import Done, MadeStore, made_store

PASSWORD = "Feines Korn 45"
OTHER = "Grobes Korn 90"


@pytest.fixture(autouse=True)
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """The real hash with little work; `test_secrets` has the real figures."""
    made = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(secrets, "hasher", lambda: made)


@pytest.fixture
def store(tmp_path: Path) -> MadeStore:
    return made_store(tmp_path / "data")


def secret(folder: Path, text: str = PASSWORD) -> str:
    """The path of a password file that only its owner can read."""
    path = folder / f"{abs(hash(text))}.secret"
    path.write_text(f"{text}\n", encoding="utf-8")
    path.chmod(0o600)
    return str(path)


def add_admin(store: MadeStore, folder: Path) -> Done:
    roles = ("--role", "admin", "--role", "reviewer")
    return store(
        "people", "add", "anna", "--name", "Anna Adler", *roles, "--new-password-file", secret(folder)
    )


def test_nobody_is_registered_at_first(store: MadeStore) -> None:
    assert "`lastgrain people add" in store("people", "list").out
    assert store("people", "list", "--json").json == []


def test_people_are_added_changed_and_retired_by_an_admin(store: MadeStore, tmp_path: Path) -> None:
    done = add_admin(store, tmp_path)
    assert (done.code, done.err) == (0, "")
    assert "Anna Adler (anna) is registered as reviewer, admin. A new password of anna is set." in done.out
    admin = ("--by", "anna", "--password-file", secret(tmp_path))
    bruno = ("people", "add", "bruno", "--name", "Bruno Brandt")
    assert store(*bruno, *admin, "--new-password-file", secret(tmp_path, OTHER)).code == 0
    changed = ("people", "change", "bruno", "--role", "operator", "--role", "reviewer", "--why", "trained")
    assert store(*changed, *admin).code == 0
    own = ("people", "password", "bruno", "--password-file", secret(tmp_path, OTHER))
    assert store(*own, "--new-password-file", secret(tmp_path, "480213")).code == 0
    assert store("people", "retire", "bruno", "--why", "left", *admin).code == 0
    people = store("people", "list", "--json").json
    assert [(p["id"], p["roles"], p["retired"]) for p in people] == [
        ("anna", ["reviewer", "admin"], ""),
        ("bruno", ["operator", "reviewer"], "left"),
    ]
    assert "retired: left" in store("people", "list").out
    assert store("runs", "verify").code == 0


CANNOT = (
    (("add", "bruno", "--name", "B", "--by", "anna"), "There is no terminal to type a password at"),
    (("add", "bruno", "--name", "B", "--no-password", "--by", "anna", "--password-file", "WRONG"), "is wrong"),
    (("add", "anna", "--name", "A", "--no-password", "--by", "anna", "--password-file", "RIGHT"), "is taken"),
    (("add", "x", "--name", "X", "--role", "chief", "--no-password", "--by", "anna", "--password-file", "RIGHT"),
     "there is no role 'chief'"),
    (("retire", "anna", "--why", "left", "--by", "anna", "--password-file", "RIGHT"), "last admin"),
    (("password", "anna", "--password-file", "RIGHT", "--new-password-file", "SHORT"), "at least 8 characters"),
    (("password", "anna", "--password-file", "OPEN"), "chmod 600"),
    (("password", "anna", "--password-file", "NONE"), "cannot be read"),
    (("add", "y", "--name", "Y", "--no-password"), "not registered"),
)  # fmt: skip


def test_what_cannot_be_done_is_said(store: MadeStore, tmp_path: Path) -> None:
    add_admin(store, tmp_path)
    readable = tmp_path / "open.secret"
    readable.write_text(PASSWORD)
    readable.chmod(0o644)
    files = {
        "RIGHT": secret(tmp_path),
        "WRONG": secret(tmp_path, OTHER),
        "SHORT": secret(tmp_path, "kurz"),
        "OPEN": str(readable),
        "NONE": str(tmp_path / "none"),
    }
    for arguments, words in CANNOT:
        done = store("people", *(files.get(each, each) for each in arguments))
        assert done.code == 3, arguments
        assert words.lower() in done.err.lower()
        assert PASSWORD not in done.err + done.out


def test_no_option_takes_a_password_itself(store: MadeStore) -> None:
    for command in ("add", "change", "retire", "password"):
        done = store("people", command, "--help")
        assert "--password " not in done.out.replace("--password-file", "")


def test_nothing_secret_is_in_the_store_but_the_hash(store: MadeStore, tmp_path: Path) -> None:
    add_admin(store, tmp_path)
    for path in store.data.root.rglob("*"):
        if path.is_file():
            assert PASSWORD.encode() not in path.read_bytes(), path


def test_in_the_demos_folder_its_own_bench_file_is_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(GLOBALS, "bench", None)  # commands of other tests, in this process, have named one
    folder = DataFolder(tmp_path)
    (tmp_path / "demo-bench.toml").touch()
    assert the_kept_bench(None, folder).name == "demo-bench.toml"
    with pytest.raises(ConfigError):
        the_bench(None, folder)
    (tmp_path / "bench.toml").touch()
    assert the_kept_bench(None, folder).name == "bench.toml"
