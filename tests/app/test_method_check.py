"""`method check` on files: feasible, accepted with a delay, refused, and bad files."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from logger.app.method_check import method_check_command
from tests.app.test_replay import method_file

FINE = "readability_g = 0.001\nwhite_sd_g = 0.003\nflicker_rms_g = 0.001\nsample_hz = 10.0\n"
COARSE = "readability_g = 0.01\nwhite_sd_g = 0.02\nflicker_rms_g = 0.005\nsample_hz = 10.0\n"
SWAYING = FINE + "coupling_g_per_kpa = 1.7\ncoupling_u_g_per_kpa = 0.05\n"


def check(folder: Path, rig_text: str | None, charge_g: float | None = None) -> tuple[int, dict[str, object]]:
    rig = None
    if rig_text is not None:
        rig = folder / "rig.toml"
        rig.write_text(rig_text)
    out = io.StringIO()
    code = method_check_command(method_file(folder), rig, charge_g, json_out=True, out=out)
    return code, json.loads(out.getvalue())


@pytest.mark.parametrize(
    ("rig_text", "charge_g", "code", "feasible"),
    [(FINE, 50.0, 0, True), (COARSE, 15.0, 0, False), (COARSE, 5.0, 3, False), (SWAYING, 50.0, 3, True)],
)
def test_verdict_and_exit_code(
    tmp_path: Path, rig_text: str, charge_g: float, code: int, feasible: bool
) -> None:
    found, answer = check(tmp_path, rig_text, charge_g)
    assert found == code
    assert answer["feasible"] is feasible
    assert answer["refused"] is (code == 3)
    assert answer["method"] == "m"


def test_for_people_it_says_what_would_help_and_what_was_assumed(tmp_path: Path) -> None:
    out = io.StringIO()
    code = method_check_command(method_file(tmp_path, charge=2.0), out=out)
    assert code == 3
    assert "What would help" in out.getvalue()
    assert "No rig file given" in out.getvalue()
    assert "A blank run measures it" in out.getvalue()


def test_bad_files_are_a_usage_error(tmp_path: Path) -> None:
    err = io.StringIO()
    assert method_check_command(tmp_path / "none.toml", err=err) == 2
    assert "none.toml" in err.getvalue()
    assert method_check_command(method_file(tmp_path), charge_g=0.0, err=err) == 2
