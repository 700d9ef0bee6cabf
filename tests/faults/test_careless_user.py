"""A careless user at the command line: wrong files, refused rights, closed and full outputs. No traceback, ever."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from unittest.mock import patch

import pytest

from logger import cli
from logger.app.paths import DataFolder
from logger.store.lock import InstanceLock
from tests.app.stores import Done, MadeStore, lastgrain, made_store
from tests.core.run.made_runs import method

DIGITS = "9" * 5000
"""Python refuses to make a number of more than 4300 digits (its documentation, `int` limits)."""


def zip_of(path: Path, text: str) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("manifest.json", text)


WRONG: dict[str, Callable[[Path], object]] = {
    "absent": lambda path: None,
    "folder": lambda path: path.mkdir(),
    "empty": lambda path: path.touch(),
    "binary": lambda path: path.write_bytes(b"\xff\xfe\x00bad\x80"),
    "nul.csv": lambda path: path.write_bytes(b"x\x00y,z\n"),
    "latin1.toml": lambda path: path.write_bytes(b'a = "caf\xe9"\n'),
    "loop": lambda path: path.symlink_to(path),
    "digits.toml": lambda path: path.write_text(f'[method]\nid = "x"\nrevision = {DIGITS}\n'),
    "hex.toml": lambda path: path.write_text(f'[method]\nid = "x"\nrevision = 0x{DIGITS}\n'),
    "deep.toml": lambda path: path.write_text("a = " + "[" * 5000 + "]" * 5000),
    "digits.csv": lambda path: path.write_text(f"t_s,mass_g,dp_pa,stable\n{DIGITS},1,2500,1\n"),
    "one-cell.csv": lambda path: path.write_text("9" * 200_000),
    "deep.zip": lambda path: zip_of(path, "[" * 200_000),
    "number.zip": lambda path: zip_of(path, DIGITS),
}
COMMANDS: dict[str, tuple[str, ...]] = {
    "trace": ("replay", "FILE", "--method", "filler-45-interval"),
    "method": ("replay", "1", "--method", "FILE"),
    "rig": ("replay", "1", "--method", "filler-45-live", "--rig", "FILE"),
    "check": ("method", "check", "FILE"),
    "bundle": ("runs", "verify", "--bundle", "FILE"),
    "precision": ("precision", "FILE"),
    "plan": ("method", "ruggedness", "FILE"),
    "backup": ("restore", "FILE"),
    "drill": ("restore", "FILE", "--drill", "--by", "op-7"),
    "bench": ("doctor", "--bench", "FILE"),
    "store": ("runs", "list", "--data", "FILE"),
    "worklist": ("worklist", "import", "FILE", "--by", "op-7"),
    "sink": ("sink", "--report", "--database", "FILE"),
    "answers": ("setup", "--answers", "FILE"),
    "password": ("runs", "sign", "1", "--accept", "--by", "anna", "--password-file", "FILE"),
}


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> MadeStore:
    made = made_store(tmp_path_factory.mktemp("kept"))
    made.run(method())
    return made


@pytest.fixture(autouse=True)
def no_fault_notes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """What is written down as a fault of the program fails the test."""
    notes = tmp_path / "notes"
    notes.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(notes))
    yield
    found = [path.read_text(encoding="utf-8") for path in notes.glob("lastgrain-fault-*")]
    assert found == []


def refused(done: Done) -> str:
    assert done.code in (2, 3, 4, 5), done
    assert "Traceback" not in done.err + done.out
    said = done.err.strip() or done.out.strip()  # replay, doctor and verify answer on stdout
    assert said
    return said


@pytest.mark.parametrize("command", COMMANDS)
def test_a_wrong_file_is_a_sentence(kept: MadeStore, tmp_path: Path, command: str) -> None:
    for name, make in WRONG.items():
        if (command, name) == ("sink", "empty"):  # an empty file is an empty database to SQLite
            continue
        path = tmp_path / name
        make(path)
        data = kept.data.root if command != "backup" else tmp_path / "another"
        words = [str(path) if word == "FILE" else word for word in COMMANDS[command]]
        done = lastgrain("--data", str(data), *words)
        assert refused(done), name


def test_a_number_without_end_names_the_file(tmp_path: Path) -> None:
    for name in ("digits.toml", "hex.toml", "deep.toml"):
        path = tmp_path / name
        WRONG[name](path)
        assert f"{path}: holds a number too long" in refused(lastgrain("method", "check", str(path)))


def test_an_empty_file_is_no_backup_and_the_store_stays(kept: MadeStore, tmp_path: Path) -> None:
    (tmp_path / "empty").touch()
    before = kept.data.store.read_bytes()
    assert "is empty: it is no backup" in refused(kept("restore", str(tmp_path / "empty")))
    assert kept.data.store.read_bytes() == before


def test_a_files_name_keeps_its_letters_at_the_beginning_of_a_sentence(
    kept: MadeStore, tmp_path: Path
) -> None:
    (tmp_path / "list").write_bytes(b"\xff\xfe\x00bad\x80")
    assert refused(kept("worklist", "import", str(tmp_path / "list"), "--by", "op-7")).startswith("list is")


HUGE = "9" * 20


@pytest.mark.parametrize(
    "words",
    [
        *(f"runs list --{name} {HUGE}" for name in ("limit", "before")),
        f"checks list --limit {HUGE}",
        f"precision --method m --revision {HUGE}",
        f"runs republish --from {HUGE} --to {HUGE} --by op-7",
        *(f"results --sample S-1 --slope {slope}" for slope in ("nan", "inf", "1e308")),
        *(
            f"method check filler-45-interval --charge {charge}"
            for charge in ("nan", "1e308", "1e-320", "-1")
        ),
    ],
)
def test_a_number_beyond_all_meaning_is_a_sentence(kept: MadeStore, words: str) -> None:
    done = kept(*words.split())
    assert (done.code, bool(refused(done))) == (2, True)


# --- outputs ------------------------------------------------------------------------------------------------


def shell(script: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """`"$@"` in the script is the command."""
    command = [sys.executable, "-m", "logger.cli", *arguments]
    done = subprocess.run(
        ["bash", "-c", script, "bash", *command], capture_output=True, text=True, timeout=60, check=False
    )
    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr
    return done


@pytest.mark.parametrize("arguments", [("--help",), ("schema", "record"), ("method", "list"), ("--version",)])
def test_nobody_reads_on(arguments: tuple[str, ...]) -> None:
    done = shell('"$@" | true; exit ${PIPESTATUS[0]}', *arguments)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
@pytest.mark.parametrize("arguments", [("--version",), ("schema", "record")])
def test_an_output_that_takes_nothing_is_told(arguments: tuple[str, ...]) -> None:
    done = shell('"$@" > /dev/full', *arguments)
    assert (done.returncode, done.stderr) == (
        5,
        "The output or a file cannot be written: No space left on device.\n",
    )


@pytest.mark.parametrize("closed", [">&-", "<&-", ">&- 2>&- <&-"])
def test_closed_streams_end_as_open_ones(closed: str, tmp_path: Path) -> None:
    assert shell(f'"$@" {closed}', "method", "list").returncode == 0
    assert shell(f'"$@" {closed}', "runs", "list", "--data", str(tmp_path)).returncode == 5
    assert shell(f'"$@" {closed}', "doctor", "--data", str(tmp_path)).returncode == 2


# --- rights -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "error", [PermissionError(13, "Permission denied", "/x/y"), OSError(28, "No space left", "/x/y")]
)
def test_what_the_system_refuses_is_no_fault_of_the_program(error: OSError) -> None:
    with patch.object(cli, "app", side_effect=error):
        done = lastgrain("runs", "list")
    assert (done.code, done.err.startswith(f"/x/y: {error.strerror}. Choose")) == (5, True)


def test_a_store_in_a_folder_for_reading_is_read(kept: MadeStore, tmp_path: Path) -> None:
    """An auditor's write-protected copy; a superuser would be let in anyway, hence another user's rights."""
    folder = tmp_path / "copy"
    folder.mkdir()
    (folder / "lastgrain.sqlite").write_bytes(kept.data.store.read_bytes())
    with patch("logger.store.schema.os.access", lambda path, mode: mode != os.W_OK):
        for command in ("list", "show 1", "verify"):
            done = lastgrain("runs", *command.split(), "--data", str(folder))
            assert done.code == 0, done.err
    assert not (folder / "lastgrain.sqlite-shm").exists()
    assert not (folder / "lastgrain.sqlite-wal").exists()


# --- one folder, two programs -------------------------------------------------------------------------------


def test_a_demo_does_not_lead_the_bench_whose_folder_it_is_given(tmp_path: Path) -> None:
    """It would register its sieve there, and answer the running service's questions by itself."""
    data = DataFolder(tmp_path / "demo")
    data.prepare()
    with InstanceLock(data.lock):
        done = lastgrain("demo", "--headless", "--data", str(data.root))

    assert (done.code, f"in use by another service (process {os.getpid()})" in done.err) == (5, True)
    assert not data.store.exists()


def test_a_demo_adds_no_simulated_runs_to_the_history_of_a_bench(kept: MadeStore, tmp_path: Path) -> None:
    before = kept.data.store.read_bytes()
    done = lastgrain("demo", "--headless", "--data", str(kept.data.root))
    assert (done.code, "is the folder of a bench" in done.err) == (2, True)
    assert kept.data.store.read_bytes() == before
    (tmp_path / "bench.toml").touch()
    assert lastgrain("demo", "--headless", "--data", str(tmp_path)).code == 2


def test_a_socket_that_a_killed_service_left_holds_nothing_up(kept: MadeStore) -> None:
    """Commands that ask the service first, then the store."""
    kept.data.socket.parent.mkdir(mode=0o700, exist_ok=True)
    with contextlib.closing(socket.socket(socket.AF_UNIX)) as stale:
        stale.bind(str(kept.data.socket))
    done = kept("shift", "air", "--temperature", "20", "--humidity", "50", "--by", "op-7")
    assert done.code == 0, done.err
    assert kept("checks", "list").code == 0
