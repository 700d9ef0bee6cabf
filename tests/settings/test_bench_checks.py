"""Bench file: balance figures and the table of checks."""

from __future__ import annotations

import json
import math

import jsonschema
import pytest

from logger.app.schemas import schema_of
from logger.settings import Bench, ConfigError, config_dir
from logger.settings.toml_model import parse_toml

TEXT = (config_dir() / "benches" / "demo-beside.toml").read_text(encoding="utf-8")


def bench(text: str = TEXT) -> Bench:
    return parse_toml(text, Bench, "bench.toml")


def test_every_figure_of_the_balance_reaches_the_budget() -> None:
    figures = "repeatability_dof = 9\neccentricity_g = 0.002\ndrift_g = 0.003\nbuoyancy_g = 0.0006"
    found = bench(TEXT.replace("repeatability_dof = 9", figures)).balance.spec()
    assert (found.repeatability_dof, found.eccentricity_g) == (9, 0.002)
    assert (found.drift_g, found.buoyancy_g, found.linearity_g) == (0.003, 0.0006, 0.001)
    assert math.isinf(bench(TEXT.replace("repeatability_dof = 9", "")).balance.spec().repeatability_dof)


def test_the_checks_of_the_example_are_read() -> None:
    checks = bench().checks
    assert (checks.overdue, checks.sieve_every_runs, checks.balance_every_hours) == ("warns", 100, None)
    assert checks.weight("W-200").tolerance_g == 0.003
    with pytest.raises(ValueError, match="no check weight 'W-1'; it has W-200"):
        checks.weight("W-1")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("repeatability_dof = 9", "repeatability_dof = 0", "weighings less one"),
        ("repeatability_dof = 9", "buoyancy_g = -1.0", "buoyancy_g must not be negative"),
        ('overdue = "warns"', 'overdue = "shouts"', "checks.overdue"),
        ("sieve_every_runs = 100", "sieve_every_runs = 0", "sieve_every_runs must be above zero"),
        ("sieve_every_runs = 100", "sieve_every_run = 100", 'did you mean "sieve_every_runs"?'),
        ("tolerance_g = 0.003", "tolerance_g = 0.0005", "finer than one digit"),
        ("mass_g = 200.0", "mass_g = 0.0", "check weight W-200: mass_g must be above zero"),
        (
            "[alarms]",
            '[[checks.weights]]\nid = "W-200"\nmass_g = 1.0\ntolerance_g = 0.01\n[alarms]',
            "same id",
        ),
    ],
)
def test_a_check_that_cannot_be_meant_is_a_sentence(old: str, new: str, words: str) -> None:
    assert old in TEXT
    with pytest.raises(ConfigError) as caught:
        bench(TEXT.replace(old, new, 1))
    assert words in caught.value.sentence()


def test_checks_by_hours_need_a_weight() -> None:
    start, end = TEXT.index("[[checks.weights]]"), TEXT.index("[alarms]")
    without = TEXT[:start] + TEXT[end:]
    with pytest.raises(ConfigError, match="need a check weight"):
        bench(without.replace("tare_allowed_g = 0.02", "balance_every_hours = 24.0"))


def test_the_schema_of_the_bench_file_is_plain_json() -> None:
    """Judged by the `jsonschema` library (Draft 2020-12)."""
    described = json.loads(json.dumps(schema_of("bench"), allow_nan=False))
    jsonschema.Draft202012Validator.check_schema(described)
