"""Commands of the method developer: replay, method check, list, show."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from logger.app.cli_base import DataOption, print_out, the_data
from logger.app.cli_trials import add_to as add_trials
from logger.app.completion import method_ids
from logger.settings import ConfigError, config_dir, find_config, load_method

method_app = typer.Typer(
    help="Methods: what is shipped, what one says, whether a rig can meet it.", no_args_is_help=True
)

add_trials(method_app)

RigOption = Annotated[Path | None, typer.Option("--rig", metavar="FILE", help="Rig file of a blank run.")]
ChargeOption = Annotated[
    float | None, typer.Option("--charge", metavar="G", help="Charge in g instead of the method's.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="JSON on stdout.")]


def replay(
    traces: Annotated[
        list[str],
        typer.Argument(
            metavar="TRACE.csv|RUN...", help="Trace files or numbers of runs, answered in this order."
        ),
    ],
    method: Annotated[
        str | None,
        typer.Option("--method", metavar="FILE", help="Method file or shipped name; a run has its own."),
    ] = None,
    rig: RigOption = None,
    charge: ChargeOption = None,
    rule: Annotated[
        list[str] | None,
        typer.Option(
            "--rule",
            metavar="RULE|KEY=VALUE",
            help="What if: a rule, or a key of the tables endpoint or weighing.",
        ),
    ] = None,
    compare: Annotated[bool, typer.Option("--compare", help="Rules side by side.")] = False,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """What the endpoint rule would have done with stored traces or runs."""
    from logger.app.replay import replay_command

    path = None if method is None else find_config("methods", method)
    folder = the_data(data)
    raise typer.Exit(replay_command(traces, path, rig, charge, rule or (), compare, json_out, data=folder))


def study(
    scenarios: Annotated[
        list[str] | None, typer.Argument(metavar="SCENARIO...", help="Simulated powders.")
    ] = None,
    seeds: Annotated[int, typer.Option(min=1, help="Runs of each.")] = 10,
    first_seed: Annotated[int, typer.Option(min=0)] = 1,
    jobs: Annotated[int | None, typer.Option(min=1, help="Processes.")] = None,
) -> None:
    """Simulated runs through the endpoint rule, simple rules beside it: early stops, delays, residue."""
    from logger.app.study import study_command

    raise typer.Exit(study_command(scenarios or (), seeds, first_seed, jobs=jobs))


@method_app.command("check")
def check(
    method: Annotated[
        str, typer.Argument(metavar="FILE", autocompletion=method_ids, help="Method file, or a shipped name.")
    ],
    rig: RigOption = None,
    charge: ChargeOption = None,
    json_out: JsonOption = False,
) -> None:
    """Valid, and feasible on this rig: the window needed and the expected delay, or why not and what would help."""
    from logger.app.method_check import method_check_command

    raise typer.Exit(method_check_command(find_config("methods", method), rig, charge, json_out))


@method_app.command("list")
def list_methods(json_out: JsonOption = False) -> None:
    """The shipped methods."""
    methods = [load_method(path) for path in sorted((config_dir() / "methods").glob("*.toml"))]
    if json_out:
        print_out([asdict(method.method) for method in methods])
        return
    for method in methods:
        print(
            f"{method.method.id:26} rev {method.method.revision}  {method.weighing.mode:8}  {method.method.title}"
        )


@method_app.command("show")
def show(
    method: Annotated[
        str, typer.Argument(metavar="FILE", autocompletion=method_ids, help="Method file, or a shipped name.")
    ],
    json_out: JsonOption = False,
) -> None:
    """One method: its file as written, or its values as JSON with the defaults filled in."""
    path = find_config("methods", method)
    loaded = load_method(path)
    if json_out:
        print_out(asdict(loaded))
        return
    try:
        print_out(path.read_text(encoding="utf-8-sig").removesuffix("\n"))
    except OSError as error:
        raise ConfigError(path, f"cannot be read: {error.strerror}") from None
