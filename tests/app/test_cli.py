"""The command line as a person meets it: exit codes, sentences, no traceback, JSON alone on stdout."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from logger.app.paths import DataFolder
from logger.app.schemas import KINDS, schema_of
from logger.app.simulate import service_socket
from logger.settings import config_dir

BENCH = config_dir() / "benches" / "demo-beside.toml"


def lastgrain(*arguments: str, data: Path | None = None) -> subprocess.CompletedProcess[str]:
    environment = {key: value for key, value in os.environ.items() if not key.startswith("LASTGRAIN")}
    if data is not None:
        environment["LASTGRAIN_DATA"] = str(data)
    command = [sys.executable, "-m", "logger.cli", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, env=environment, check=False)
    assert "Traceback" not in done.stderr, done.stderr
    return done


def test_help_and_version_are_quick_to_give() -> None:
    assert "air-jet sieving" in lastgrain("--help").stdout
    assert lastgrain("--version").stdout.startswith("lastgrain ")


def test_an_unknown_command_is_a_usage_error() -> None:
    assert lastgrain("sieve").returncode == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["simulate", "--scenario", "demo-filer"], "did you mean demo-filler"),
        (["demo", "--mode", "batch"], "interval or live"),
        (["demo", "--headless", "--broker", "http://x"], "mqtt://HOST:PORT"),
        (["demo", "--headless", "--broker", "mqtt://u:secret@h"], "without a password"),
        (["schema", "recrod"], "there are: "),
        (["method", "check", "filler-54"], "filler-45-live"),
    ],
)
def test_a_wrong_argument_is_a_sentence_that_says_what_to_do(arguments: list[str], words: str) -> None:
    done = lastgrain(*arguments)
    assert done.returncode in (2, 6)
    assert words in done.stderr
    assert "secret" not in done.stdout + done.stderr.replace("mqtt://u:secret@h", "")


def test_serving_without_a_bench_file_says_where_the_examples_are(tmp_path: Path) -> None:
    done = lastgrain("serve", data=tmp_path)
    assert done.returncode == 2
    assert "benches" in done.stderr


def test_global_options_are_taken_before_and_after_the_command(tmp_path: Path) -> None:
    before = lastgrain("--data", str(tmp_path), "--bench", str(tmp_path / "b.toml"), "serve")
    after = lastgrain("serve", "--data", str(tmp_path), "--bench", str(tmp_path / "b.toml"))
    assert before.returncode == after.returncode == 2
    assert before.stderr == after.stderr
    assert "b.toml" in after.stderr


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("site =", "sight =", "did you mean"),
        ('profile = "polled-line-balance"', 'profile = "polled-balance"', "polled-line-balance"),
        ('profile = "polled-line-balance"', 'profile = "streamed-line-pressure"', "not for mass"),
        ("readability_g = 0.001", 'readability_g = "1 mg"', "readability_g"),
    ],
)
def test_a_bench_file_with_a_mistake_starts_nothing(tmp_path: Path, old: str, new: str, words: str) -> None:
    text = BENCH.read_text(encoding="utf-8")
    assert old in text
    path = tmp_path / "bench.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    done = lastgrain("serve", "--data", str(tmp_path / "data"), "--bench", str(path))
    assert done.returncode == 2
    assert words in done.stderr


def test_history_without_a_store_is_a_sentence_and_exit_5(tmp_path: Path) -> None:
    for arguments in (["runs", "list"], ["runs", "show", "1"], ["runs", "verify"]):
        done = lastgrain(*arguments, data=tmp_path)
        assert done.returncode == 5
        assert "there is no store yet" in done.stderr
        assert done.stdout == ""


def test_a_schema_is_printed() -> None:
    assert json.loads(lastgrain("schema", "record").stdout) == json.loads(json.dumps(schema_of("record")))


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "asyncapi"])
def test_every_schema_is_a_valid_2020_12_schema(kind: str) -> None:
    schema = schema_of(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"].endswith("2020-12/schema")


def test_a_folder_that_cannot_be_made_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    done = lastgrain("serve", "--data", str(tmp_path / "file" / "data"), "--bench", str(BENCH))
    assert done.returncode == 2
    assert "--data" in done.stderr


def test_the_hands_of_a_rig_follow_a_data_folder_or_a_socket(tmp_path: Path) -> None:
    assert service_socket(tmp_path) == DataFolder(tmp_path).socket
    assert service_socket(tmp_path / "service.sock") == tmp_path / "service.sock"
