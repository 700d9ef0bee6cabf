"""docs/results.md names commands and options that exist, and a bench table that loads."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from logger.settings import Bench, config_dir
from logger.settings.toml_model import parse_toml
from tests.app.stores import lastgrain

PAGE = (Path(__file__).parents[2] / "docs" / "results.md").read_text(encoding="utf-8")
COMMANDS = (
    "sieves add",
    "sieves tare",
    "sieves reference",
    "sieves list",
    "sieves show",
    "sieves chart",
    "sieves retire",
    "checks balance",
    "checks pressure",
    "checks list",
    "checks drying",
    "checks air",
    "checks losses",
    "results",
    "distribution",
    "precision",
    "runs show",
    "runs export",
    "run",
)


@pytest.fixture(scope="module")
def helps() -> str:
    """Help of all these commands, wide enough that no option is cut."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("COLUMNS", "200")
        patch.setenv("TERMINAL_WIDTH", "200")
        return "\n".join(lastgrain(*command.split(), "--help").out for command in COMMANDS)


def test_every_option_on_the_page_exists(helps: str) -> None:
    options = set(re.findall(r"--[a-z][a-z-]+", PAGE))
    assert len(options) > 25
    assert {option for option in options if option not in helps} == set()


def test_every_command_is_on_the_page() -> None:
    assert [command for command in COMMANDS if command.split()[-1] not in PAGE] == []


def test_the_table_of_checks_on_the_page_loads() -> None:
    table = PAGE[PAGE.index("[checks]") : PAGE.index("```", PAGE.index("[checks]"))]
    bench = (config_dir() / "benches" / "demo-under.toml").read_text(encoding="utf-8")
    found = parse_toml(f"{bench}\n{table.replace('0.003', '0.02')}", Bench, "page").checks
    assert (found.overdue, found.balance_every_runs, found.weights[0].id) == ("warns", 50, "W-200")
