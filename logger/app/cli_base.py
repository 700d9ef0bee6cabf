"""What every command shares: exit codes, options taken before and after the subcommand, lines for people."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer

from logger.app.paths import DEMO_BENCH, DataFolder, data_folder
from logger.core.text import printable_json, printable_text
from logger.settings.errors import ConfigError

EXIT_OK, EXIT_USAGE, EXIT_REFUSED, EXIT_INSTRUMENT, EXIT_STORE, EXIT_BROKER = 0, 2, 3, 4, 5, 6
EXIT_FAULT = 1
"""The program's own fault, which nothing in it expected."""
EXIT_INTERRUPTED = 130

LEAST_CHARGE_G, MOST_CHARGE_G = 1e-3, 1e6
"""What a charge can be meant to be, g."""
MOST_LINES = 1_000_000
"""Of a list; more is a slip of the pen."""
MOST_NUMBER = 2**53 - 1
"""Of a run, a revision or a message: what every JSON reader keeps exactly (RFC 8259, section 6)."""

DataOption = Annotated[Path | None, typer.Option("--data", metavar="DIR", help="Data folder of the bench.")]
BenchOption = Annotated[Path | None, typer.Option("--bench", metavar="FILE", help="Bench file (TOML).")]
JsonOption = Annotated[bool, typer.Option("--json", help="One JSON document on stdout.")]


class Globals:
    """Options given before the subcommand."""

    data: Path | None = None
    bench: Path | None = None


GLOBALS = Globals()


def say(text: str) -> None:
    """A line for people, on stderr."""
    print(printable_text(text), file=sys.stderr)


def fail(code: int, text: str) -> NoReturn:
    """End with a sentence and an exit code."""
    say(text)
    raise typer.Exit(code)


def the_data(given: Path | None) -> DataFolder:
    """The data folder from the option after or before the subcommand, or from LASTGRAIN_DATA."""
    return data_folder(given or GLOBALS.data)


def the_bench(given: Path | None, data: DataFolder) -> Path:
    """The bench file: named, or `bench.toml` in the data folder."""
    path = given or GLOBALS.bench or data.root / "bench.toml"
    if not path.exists():
        raise ConfigError(
            path,
            "there is no bench file; make one with `lastgrain setup`, name one with --bench, or copy one from "
            f"{config_benches()} and set its ports (`lastgrain demo` needs none)",
        )
    return path.absolute()


def the_kept_bench(given: Path | None, data: DataFolder) -> Path:
    """The bench file for a command that opens no port: in a folder of the demo it is the demo's own."""
    of_the_demo = data.root / DEMO_BENCH
    named = given or GLOBALS.bench or (data.root / "bench.toml").exists()
    return of_the_demo.absolute() if not named and of_the_demo.exists() else the_bench(given, data)


def config_benches() -> Path:
    """Where the example benches are."""
    from logger.settings import config_dir

    return config_dir() / "benches"


def print_out(answer: Any) -> None:
    """Text as it is, anything else as one JSON document, on stdout."""
    print(printable_text(answer) if isinstance(answer, str) else printable_json(answer))


def require_charge(charge_g: float | None) -> None:
    """Raises ValueError, a sentence, for what cannot be meant as a charge in g."""
    if charge_g is not None and not LEAST_CHARGE_G <= charge_g <= MOST_CHARGE_G:
        allowed = f"from {LEAST_CHARGE_G:g} to {MOST_CHARGE_G:,.0f}"
        raise ValueError(f"--charge must be a number of grams {allowed}, not {charge_g:g}")
