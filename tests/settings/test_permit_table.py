"""The permit's table in the bench file, and what a bench with a register map may name."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.app.bench_files import read_bench
from logger.settings import ConfigError, config_dir, load_bench

EXAMPLE = (config_dir() / "benches" / "modbus-permit.toml").read_text(encoding="utf-8")


def write(folder: Path, text: str) -> Path:
    path = folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_bench_without_the_table_has_no_relay() -> None:
    assert load_bench(config_dir() / "benches" / "demo-beside.toml").permit.kind == "none"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('kind = "modbus"  ', 'kind = "relay"  ', "permit.kind"),
        ("unit_id = 2", "unit = 2", 'unknown key "unit"; did you mean "unit_id"?'),
        ("heartbeat_s = 5.0", "heartbeat_s = 0.5", "heartbeat_s must be 1 to 60, not 0.5"),
        ("coil = 0", "coil = -1", "coil 0 to 65535"),
        ('port = "/dev/serial/by-id/PERMIT"', "", "port is missing"),
        ("by-id/PERMIT", "by-id/PRESSURE", "the relay needs a port of its own"),
        ("coil = 0", 'on_line = "K0"', "could not tell them apart"),
    ],
)
def test_a_mistake_is_refused_in_words(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert EXAMPLE.count(old) == 1
    with pytest.raises(ConfigError) as refusal:
        load_bench(write(tmp_path, EXAMPLE.replace(old, new)))

    assert words in refusal.value.sentence()


def test_an_identity_needs_its_register(tmp_path: Path) -> None:
    profile = (config_dir() / "profiles" / "modbus-pressure.toml").read_text(encoding="utf-8")
    start, end = profile.index("[identity]"), profile.index("[range]")
    mine = tmp_path / "mine.toml"
    mine.write_text(profile[:start] + profile[end:], encoding="utf-8")
    text = EXAMPLE.replace('"modbus-pressure"', f'"{mine}"')

    with pytest.raises(ConfigError, match="has no register of the serial number"):
        read_bench(write(tmp_path, text))
    read_bench(write(tmp_path, text.replace('identity = "40217"', "")))


def test_a_register_map_for_the_balance_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="is a profile for pressure, not for mass"):
        read_bench(write(tmp_path, EXAMPLE.replace('"polled-line-balance"', '"modbus-pressure"')))


def test_a_mistake_in_a_register_map_names_its_line(tmp_path: Path) -> None:
    profile = (config_dir() / "profiles" / "modbus-pressure.toml").read_text(encoding="utf-8")
    mine = tmp_path / "mine.toml"
    mine.write_text(profile.replace("unit_id = 1 ", "unti_id = 1 "), encoding="utf-8")

    with pytest.raises(ConfigError) as refusal:
        read_bench(write(tmp_path, EXAMPLE.replace('"modbus-pressure"', f'"{mine}"')))

    line = profile[: profile.index("unit_id = 1 ")].count("\n") + 1
    assert refusal.value.sentence().startswith(f"{mine}, line {line}: 'unti_id' is not a key")
    assert "'unit_id'" in refusal.value.sentence()
