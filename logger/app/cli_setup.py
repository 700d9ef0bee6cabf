"""The command that makes a bench file: `lastgrain setup`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from logger.app.cli_base import (
    EXIT_INTERRUPTED,
    GLOBALS,
    BenchOption,
    DataOption,
    JsonOption,
    fail,
    print_out,
    the_data,
)


def setup(
    data: DataOption = None,
    bench: BenchOption = None,
    answers: Annotated[
        Path | None, typer.Option("--answers", metavar="FILE", help="Answers (TOML) instead of questions.")
    ] = None,
    no_try: Annotated[bool, typer.Option("--no-try", help="With --answers: do not try the parts.")] = False,
    json_out: JsonOption = False,
) -> None:
    """Ask for the bench, try its instruments and broker, and write its bench file. Nothing is overwritten."""
    from logger.app.loops import run_loop
    from logger.app.prompts import Stopped, Terminal, ask_secret
    from logger.app.setup import set_up, set_up_from

    path = (bench or GLOBALS.bench or the_data(data).root / "bench.toml").absolute()
    try:
        done = run_loop(
            set_up(path, Terminal(), ask_secret)
            if answers is None
            else set_up_from(path, answers, trying=not no_try)
        )
    except Stopped:
        fail(EXIT_INTERRUPTED, "Stopped. No bench file was written; your answers are proposed next time.")
    found = {"bench_file": str(done.bench_file), "tried": dict(done.tried)}
    lines = [f"Written: {done.bench_file}", *[f"  {part}: {what}" for part, what in done.tried.items()]]
    print_out(found if json_out else "\n".join([*lines, "`lastgrain doctor` looks at the whole bench."]))
