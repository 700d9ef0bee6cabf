"""The commands on the store as a person types them: what they print and how they end."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import sys
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from logger.app.paths import DataFolder
from logger.cli import main
from logger.store.lock import InstanceLock
from tests.store.quick_runs import filled


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> DataFolder:
    data = DataFolder(tmp_path_factory.mktemp("commands"))
    data.prepare()
    filled(data.store, runs=2, pack=False)
    return data


@pytest.fixture
def data(made: DataFolder, tmp_path: Path) -> DataFolder:
    copy = DataFolder(tmp_path / "data")
    copy.prepare()
    shutil.copy(made.store, copy.store)
    return copy


@dataclass(frozen=True)
class Done:
    """How a command ended."""

    returncode: int
    stdout: str
    stderr: str


class Lastgrain:
    """The entry point, called as the shell does but in this process."""

    def __init__(self, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self._capsys, self._monkeypatch = capsys, monkeypatch

    def __call__(self, data: DataFolder, *arguments: str) -> Done:
        self._monkeypatch.setenv("LASTGRAIN_DATA", str(data.root))
        self._monkeypatch.setattr(sys, "argv", ["lastgrain", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        out, err = self._capsys.readouterr()
        return Done(int(ended.value.code or 0), out, err)


@pytest.fixture
def lastgrain(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Lastgrain:
    return Lastgrain(capsys, monkeypatch)


def test_verify_says_sound_and_ends_with_0_then_altered_and_5(data: DataFolder, lastgrain: Lastgrain) -> None:
    good = lastgrain(data, "runs", "verify", "--json")
    assert good.returncode == 0
    assert [one["verdict"] for one in json.loads(good.stdout)] == ["no-outside-head"]
    with closing(sqlite3.connect(data.store)) as connection:
        connection.execute(
            "UPDATE batch SET readings = CAST(replace(readings, '301.0', '301.9') AS BLOB) WHERE seq = 4"
        )
        connection.commit()
    bad = lastgrain(data, "runs", "verify")
    assert bad.returncode == 5
    assert bad.stdout.startswith("altered: run 1 (")
    assert "batch 4" in bad.stdout


@pytest.mark.parametrize("head", ["12", "x:y", f"3:{'G' * 64}", f"-1:{'a' * 64}", f"²:{'a' * 64}", ""])
def test_a_head_that_is_none_is_a_wrong_option(data: DataFolder, head: str) -> None:
    from logger.app.runs import verify_store
    from logger.settings import ConfigError

    with pytest.raises(ConfigError, match="is no head"):
        verify_store(data, head)


def test_a_head_from_elsewhere_decides(data: DataFolder, lastgrain: Lastgrain) -> None:
    wrong = lastgrain(data, "runs", "verify", "--head", f"3:{'a' * 64}")
    assert (wrong.returncode, wrong.stdout.split(":")[0]) == (5, "rewritten")
    ahead = lastgrain(data, "runs", "verify", "--head", f"999:{'a' * 64}")
    assert (ahead.returncode, ahead.stdout.split(":")[0]) == (5, "missing-tail")


def test_backup_and_restore_from_the_command_line(
    data: DataFolder, lastgrain: Lastgrain, tmp_path: Path
) -> None:
    target = tmp_path / "b.sqlite"
    backup = lastgrain(data, "backup", str(target))
    assert (backup.returncode, backup.stdout.splitlines()[0]) == (0, str(target))
    with InstanceLock(data.lock):
        refused = lastgrain(data, "restore", str(target))
    assert refused.returncode == 5
    assert f"in use by another service (process {os.getpid()})" in refused.stderr
    restored = lastgrain(data, "restore", str(target))
    assert restored.returncode == 0
    assert "is kept as" in restored.stdout
    assert lastgrain(data, "backup", str(target)).returncode == 5
