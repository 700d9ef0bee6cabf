"""What the shell completes, as the shell asks for it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from logger.app.completion import method_ids, run_numbers
from logger.core.method import Method
from logger.settings import config_dir, load_method
from tests.app.stores import made_store

METHOD: Method = load_method(config_dir() / "methods" / "filler-45-interval.toml")


def test_runs_are_completed_with_sample_and_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LASTGRAIN_DATA", str(tmp_path))
    assert run_numbers("") == []
    store = made_store(tmp_path)
    for sample in ("S-1", "S-2"):
        store.run(METHOD, sample=sample)

    assert [number for number, _ in run_numbers("")] == ["2", "1"]
    assert run_numbers("2")[0][1].startswith("S-2 20")
    store.data.store.write_bytes(b"damaged")
    assert run_numbers("") == []


def test_methods_of_the_bench_come_before_the_shipped_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LASTGRAIN_DATA", str(tmp_path))
    (tmp_path / "own.toml").write_text('[method]\nid = "filler-own"\ntitle = "Ours"\n')
    (tmp_path / "broken.toml").write_text("[method\n")

    found = method_ids("filler")

    assert found[0] == ("filler-own", "Ours")
    assert "filler-45-live" in [method_id for method_id, _ in found]


def test_the_shell_gets_the_words(tmp_path: Path) -> None:
    asked = {
        "_LASTGRAIN_COMPLETE": "complete_bash",
        "COMP_WORDS": "lastgrain method show fil",
        "COMP_CWORD": "3",
    }
    environment = os.environ | asked | {"LASTGRAIN_DATA": str(tmp_path)}
    command = [
        sys.executable,
        "-c",
        "import sys; sys.argv = ['lastgrain']; from logger.cli import main; main()",
    ]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=30, check=False)

    assert "filler-45-interval" in done.stdout.split()
    assert done.stderr == ""
