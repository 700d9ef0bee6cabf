"""Every shipped method loads, is itself, and says where each figure comes from."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from logger.core.sieves import apertures_um
from logger.settings.files import config_dir, load_method

FILES = sorted((config_dir() / "methods").glob("*.toml"))
NUMBER = re.compile(r"^\s*(\w+) = \[?[\d.]+")
NAMED = re.compile(r"common practice|\b(ISO|EN|ASTM|USP|JCGM)\b|ILAC")
STANDARD = re.compile(r"\b(ISO|EN|ASTM|USP|JCGM)\b|ILAC")


def test_at_least_eight_methods_of_every_kind() -> None:
    methods = [load_method(path) for path in FILES]
    assert len(methods) >= 8
    assert {m.endpoint.rule for m in methods} == {"loss-rate", "relative-change", "fixed-time"}
    assert {m.weighing.mode for m in methods} == {"live", "interval"}
    assert {m.sieve.portion for m in methods} == {"fresh", "same"}
    assert {m.result.rule for m in methods} == {"simple", "guarded-accept", "guarded-reject"}
    assert len({m.method.material for m in methods}) >= 8


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_method_loads_and_is_fit_to_start_from(path: Path) -> None:
    method = load_method(path)
    assert method.method.id == path.stem
    assert method.method.revision == 1
    assert method.precautions.lines
    series = apertures_um("ISO 3310-1:2016") if method.sieve.frame_mm == 200 else apertures_um("ASTM E11-17")
    assert set(method.sieve.all_um) <= set(series)
    if method.weighing.mode == "live":
        assert method.charge.mass_g >= 50


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_every_figure_names_its_standard_or_common_practice(path: Path) -> None:
    figures = 0
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        if NUMBER.match(line):
            figures += 1
            _, _, comment = line.partition("#")
            assert NAMED.search(comment), f"{path.name}, line {number}: no source"
            if STANDARD.search(comment) and "common practice" not in comment:
                assert "confirm on your edition" in comment, f"{path.name}, line {number}"
    assert figures >= 12
