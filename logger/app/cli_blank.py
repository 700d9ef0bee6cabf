"""The blank run's command."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from logger.app.cli_base import BenchOption, DataOption, the_bench, the_data
from logger.settings import find_config, load_method


def blank(
    method: Annotated[str, typer.Option("--method", metavar="FILE", help="Gives pressure and band.")],
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Rig file to write.")] = None,
    hold: Annotated[float, typer.Option("--hold", min=20.0, help="Seconds at each pressure.")] = 100.0,
    data: DataOption = None,
    bench: BenchOption = None,
    speed: Annotated[float, typer.Option(hidden=True)] = 1.0,
) -> None:
    """Guided blank run (empty sieve, jet on, pressure stepped): measures the rig and writes its file."""
    from logger.app.blank import BlankOptions
    from logger.app.blank import blank as run_blank

    folder = the_data(data)
    options = BlankOptions(
        data=folder,
        bench_path=the_bench(bench, folder),
        method=load_method(find_config("methods", method)),
        out=out or folder.root / "rig.toml",
        hold_s=hold,
        speed=speed,
    )
    raise typer.Exit(run_blank(options))
