"""A corpus of slips in each kind of file: every one is refused with file, line and what to do instead."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import pytest

from drivers.modbus_profile_file import load_any_profile
from drivers.toml_table import ProfileError
from logger.settings import ConfigError, config_dir, load_bench, load_method, load_rig

FOLDER = {
    "method": "methods",
    "bench": "benches",
    "rig": "rigs",
    "profile": "profiles",
    "registers": "profiles",
}
SOURCE = {
    "method": "filler-45-interval",
    "bench": "demo-beside",
    "rig": "demo-platform",
    "profile": "streamed-line-balance",
    "registers": "modbus-pressure",
}


class Slip(NamedTuple):
    """`old` becomes `new` in the shipped file; the sentence holds `words`."""

    kind: str
    old: str
    new: str
    words: str


METHOD = [
    ("mass_g = 25.0", "mas_g = 25.0", 'did you mean "mass_g"'),
    ("mass_g = 25.0", "mass_kg = 0.025", 'did you mean "mass_g"'),
    ("mass_g = 25.0", "Mass_g = 25.0", 'did you mean "mass_g"'),
    ("mass_g = 25.0", 'mass_g = "25 g"', "number"),
    ("mass_g = 25.0", "mass_g = 25,0", "TOML"),
    ("mass_g = 25.0", "mass_g = -25.0", "above zero"),
    ("mass_g = 25.0", "mass_g = 0.0", "above zero"),
    ("mass_g = 25.0", "mass_g = nan", "charge.mass_g"),
    ("mass_g = 25.0", "mass_g = inf", "charge.mass_g"),
    ("mass_g = 25.0", "mass_g = true", "number"),
    ("mass_g = 25.0", "mass_g = 25.0 g", "TOML"),
    ("mass_g = 25.0", "mass_g 25.0", "TOML"),
    ("mass_g = 25.0", "mass_g = 25.0\nmass_g = 20.0", "given twice"),
    ("tolerance_g", "tolerence_g", 'did you mean "tolerance_g"'),
    ("[charge]", "[chrage]", 'did you mean "charge"'),
    ("[charge]", "[charge", "TOML"),
    ("[suction]", "[Suction]", 'did you mean "suction"'),
    ("[suction]", "[charge]", "TOML"),
    ("dp_pa = 2500.0", "dp_Pa = 2500.0", 'did you mean "dp_pa"'),
    ("dp_pa = 2500.0", "dp_kpa = 2.5", 'did you mean "dp_pa"'),
    ("dp_pa = 2500.0", "dp_mbar = 25.0", 'did you mean "dp_pa"'),
    ("dp_pa = 2500.0", 'dp_pa = "2500"', "number"),
    ("dp_pa = 2500.0", "dp_pa = -2500.0", "dp_pa"),
    ("band_pa = 250.0", "band_pa = 2500.0", "band_pa"),
    ("settle_s", "settle_sec", 'did you mean "settle_s"'),
    ("aperture_um", "apperture_um", 'did you mean "aperture'),
    ("aperture_um", "aperture_mm", 'did you mean "aperture_um"'),
    ('mode = "interval"', 'mode = "intervall"', "'live' or 'interval'"),
    ('mode = "interval"', "mode = interval", "TOML"),
    ('mode = "interval"', 'mode = "interval', "TOML"),
    ('rule = "loss-rate"', 'rule = "loss_rate"', "'loss-rate'"),
    ('rule = "loss-rate"', 'rule = "rate"', "'loss-rate'"),
    ("limit_pct_per_min = 0.1 ", "limit_pct_min = 0.1 ", 'did you mean "limit_pct_per_min"'),
    ("limit_pct_per_min = 0.1 ", "limit_pct_per_min = -0.1 ", "limit_pct_per_min"),
    ("limit_pct_per_min = 0.1 ", "change_pct = 5.0 ", 'belongs to rule = "relative-change"'),
    ("max_time_s", "maximum_time_s", 'did you mean "max_time_s"'),
    ("hold_max_s", "max_hold_s", "hold_max_s"),
    ("interval_s = 120", "interval_min = 2", 'did you mean "interval_s"'),
    ("revision", "revison", 'did you mean "revision"'),
]
BENCH = [
    ('site = "demo-site"', 'sites = "demo-site"', 'did you mean "site"'),
    ('site = "demo-site"', 'site = "Demo Site"', "MQTT topics"),
    ('site = "demo-site"', 'site = "a/b"', "MQTT topics"),
    ('bench = "bench-1"', 'bench = "bench+1"', "MQTT topics"),
    ('arrangement = "beside"', 'arrangement = "besides"', "'beside' or 'under'"),
    ("[balance]", "[ballance]", 'did you mean "balance"'),
    ("[pressure]", "[presure]", 'did you mean "pressure"'),
    ("readability_g = 0.001", "readability = 0.001", 'did you mean "readability_g"'),
    ("readability_g = 0.001", 'readability_g = "1 mg"', "number"),
    ("readability_g = 0.001", "readability_g = 0.0", "readability_g"),
    ("capacity_g = 620.0", "capacity = 620.0", 'did you mean "capacity_g"'),
    ("dp_high_pa = 6000.0", "dp_high_kpa = 6.0", 'did you mean "dp_high_pa"'),
    ("dp_high_pa = 6000.0", "dp_high_pa = -1.0", "above zero"),
    ("lid_open_pa = 50.0", "lid_open_pa = 7000.0", "far below dp_high_pa"),
    ('overdue = "warns"', 'overdue = "warn"', "'blocks' or 'warns'"),
    ("[[checks.weights]]", "[[checks.weight]]", 'did you mean "weights"'),
    ("repeatability_dof = 9 ", 'repeatability_dof = "nine" ', "integer"),
]
RIG = [
    ("readability_g", "readabillity_g", 'did you mean "readability_g"'),
    ("readability_g = ", "readability_g = -", "above zero"),
    ("coupling_g_per_kpa", "coupling_g_per_pa", 'did you mean "coupling_g_per_kpa"'),
    ("flicker_rms_g = ", "flicker_rms_g = -", "not be negative"),
    ("nozzle_rpm", "nozzle_rmp", 'did you mean "nozzle_rpm"'),
    ("sample_hz = ", 'sample_hz = "ten" # ', "number"),
]
PROFILE = [
    ('quantity = "mass"', 'quantity = "weight"', "mass"),
    ('unit = "g"', 'unit = "gram"', "g"),
    ('mode = "streamed"', 'mode = "streaming"', "streamed"),
    ("period_s = 0.1", "period_ms = 100", "period_s"),
    ("period_s = 0.1", 'period_s = "0.1"', "number"),
    ("baud = 19200", "baudrate = 19200", "baud"),
    ("baud = 19200", 'baud = "19200"', "whole number"),
    ('parity = "none"', 'parity = "N"', "none"),
    ('decimal = "comma"', 'decimal = ","', "comma"),
    ('kind = "counter"', 'kind = "count"', "counter"),
    ("[serial]", "[seriel]", "serial"),
    ('terminator = "\\r"', 'terminater = "\\r"', "terminator"),
    ("width = 10", "width = 10\nwidth = 11", "twice"),
]
REGISTERS = [
    ("unit_id", "unitid", "unit_id"),
    ("[value]", "[valu]", "value"),
    ('quantity = "pressure"', 'quantity = "presure"', "pressure"),
]
CORPUS = [
    Slip(kind, *row)
    for kind, rows in (
        ("method", METHOD),
        ("bench", BENCH),
        ("rig", RIG),
        ("profile", PROFILE),
        ("registers", REGISTERS),
    )
    for row in rows
]
LOADERS = {"method": load_method, "bench": load_bench, "rig": load_rig}


def load(kind: str, path: Path) -> None:
    loader = LOADERS.get(kind)
    if loader is None:
        load_any_profile(path)
    else:
        loader(path)


def slipped(slip: Slip, folder: Path) -> Path:
    text = (config_dir() / FOLDER[slip.kind] / f"{SOURCE[slip.kind]}.toml").read_text(encoding="utf-8")
    assert slip.old in text, "the slip must change the file"
    path = folder / f"{slip.kind}.toml"
    path.write_text(text.replace(slip.old, slip.new, 1), encoding="utf-8")
    return path


def test_the_corpus_is_large_enough_and_every_file_is_good_without_a_slip() -> None:
    assert len(set(CORPUS)) == len(CORPUS) >= 60
    for kind, name in SOURCE.items():
        load(kind, config_dir() / FOLDER[kind] / f"{name}.toml")


@pytest.mark.parametrize("slip", CORPUS, ids=lambda slip: f"{slip.kind}-{slip.new[:30]!r}")
def test_every_slip_is_refused_with_file_line_and_what_to_do(slip: Slip, tmp_path: Path) -> None:
    path = slipped(slip, tmp_path)
    with pytest.raises((ConfigError, ProfileError)) as caught:
        load(slip.kind, path)
    assert isinstance(caught.value, ConfigError | ProfileError)
    sentence, line = caught.value.sentence(), caught.value.line
    assert path.name in sentence
    assert line is not None
    assert f"line {line}: " in sentence
    assert 1 <= line <= len(path.read_text(encoding="utf-8").splitlines())
    assert slip.words in sentence, sentence
    assert "Traceback" not in sentence


def test_byte_order_mark_tabs_and_line_ends_of_another_system_are_no_mistake(tmp_path: Path) -> None:
    text = (config_dir() / "methods" / "filler-45-interval.toml").read_text(encoding="utf-8")
    path = tmp_path / "m.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace(" = ", "\t=\t").replace("\n", "\r\n").encode())
    assert load_method(path) == load_method(config_dir() / "methods" / "filler-45-interval.toml")


@pytest.mark.parametrize("kind", ["method", "bench", "rig"])
def test_other_encodings_and_binary_files_are_refused(kind: str, tmp_path: Path) -> None:
    text = (config_dir() / FOLDER[kind] / f"{SOURCE[kind]}.toml").read_text(encoding="utf-8")
    path = tmp_path / "file.toml"
    for data in (text.encode("utf-16"), b"\x80" + text.encode(), os.urandom(64) + b"\xff\xfe"):
        path.write_bytes(data)
        with pytest.raises(ConfigError, match="UTF-8"):
            load(kind, path)


def test_the_service_refuses_a_slip_in_a_method_it_was_told_of_and_starts_nothing(tmp_path: Path) -> None:
    """From the command line: exit 2, one sentence, no data folder made."""
    slipped(Slip("method", "mass_g = 25.0", "mas_g = 25.0", ""), tmp_path)
    bench = (config_dir() / "benches" / "demo-beside.toml").read_text(encoding="utf-8")
    bench_file = tmp_path / "bench.toml"
    bench_file.write_text(bench.replace('"filler-45-interval"', '"method.toml"'), encoding="utf-8")
    command = [sys.executable, "-m", "logger.cli", "serve", "--bench", str(bench_file)]
    command += ["--data", str(tmp_path / "data")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=30, check=False)
    assert done.returncode == 2
    assert 'did you mean "mass_g"?' in done.stderr
    assert "line " in done.stderr
    assert "Traceback" not in done.stderr
