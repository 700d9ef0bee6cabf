"""The command that finds what is wrong: `lastgrain doctor`."""

from __future__ import annotations

import typer

from logger.app.cli_base import GLOBALS, BenchOption, DataOption, JsonOption, print_out, the_data


def doctor(data: DataOption = None, bench: BenchOption = None, json_out: JsonOption = False) -> None:
    """Find what is wrong with computer, bench, instruments, store and broker, and say what to do."""
    from logger.app.doctor.examine import examine
    from logger.app.doctor.findings import as_json, exit_code, page
    from logger.app.loops import run_loop

    folder = the_data(data)
    path = (bench or GLOBALS.bench or folder.root / "bench.toml").absolute()
    findings = run_loop(examine(folder, path))
    print_out(as_json(findings) if json_out else page(findings))
    raise typer.Exit(exit_code(findings))
