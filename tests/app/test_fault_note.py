"""A fault of the program: a sentence with the place of the traceback, which only its user can read."""

from __future__ import annotations

import re
import stat
from pathlib import Path
from unittest.mock import patch

import pytest

from logger import cli
from tests.app.stores import lastgrain


def test_a_fault_is_a_sentence_and_its_traceback_a_private_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    with patch.object(cli, "app", side_effect=RuntimeError("broken on purpose")):
        done = lastgrain("runs", "list")

    assert done.code == 1
    assert "a fault of the program (RuntimeError)" in done.err
    assert "Traceback" not in done.err
    (note,) = tmp_path.iterdir()
    assert str(note) in done.err
    assert stat.S_IMODE(note.stat().st_mode) == 0o600
    assert re.search(r"Traceback .*RuntimeError: broken on purpose", note.read_text(), re.DOTALL)


def test_without_a_place_for_the_traceback_the_sentence_stands_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "none"))
    with patch.object(cli, "app", side_effect=RuntimeError("broken on purpose")):
        done = lastgrain("runs", "list")

    assert (done.code, "a fault of the program" in done.err, "is in" in done.err) == (1, True, False)
