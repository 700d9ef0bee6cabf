"""Commands for trying a method: `method ruggedness` and `method attrition`."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from logger.app.cli_base import EXIT_REFUSED, EXIT_USAGE, DataOption, JsonOption, fail, print_out, the_data

PlanOption = Annotated[
    str | None,
    typer.Option("--plan", metavar="FACTOR,...", help="Print a plan for these factors, to be filled in."),
]


def add_to(method_app: typer.Typer) -> None:
    """Registers both under `lastgrain method`."""
    method_app.command("ruggedness")(ruggedness)
    method_app.command("attrition")(attrition)


def ruggedness(
    given: Annotated[
        list[str] | None, typer.Argument(metavar="PLAN.csv|RUN...", help="A filled plan, or numbers of runs.")
    ] = None,
    plan: PlanOption = None,
    centre: Annotated[int, typer.Option(min=0, max=20, help="Centre runs in the plan.")] = 3,
    allowed: Annotated[
        float, typer.Option(metavar="PCT", min=0.0, help="Largest change of the residue, % of the charge.")
    ] = 0.2,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """How much the residue moves with pressure, charge and time, from a planned set of runs."""
    from logger.app import ruggedness as work

    if (plan is None) == (not given):
        fail(EXIT_USAGE, "Give a filled plan or runs, or --plan pressure,charge,time for an empty one.")
    try:
        if plan is not None:
            print_out(work.plan_csv([name.strip() for name in plan.split(",")], centre).removesuffix("\n"))
            return
        found = work.ruggedness(given or [], the_data(data), allowed)
    except ValueError as error:
        if isinstance(error, typer.BadParameter):
            raise
        fail(EXIT_USAGE, f"{error}.")
    print_out([asdict(effect) for effect in found] if json_out else "\n".join(e.text for e in found))


def attrition(
    which: Annotated[str, typer.Argument(metavar="RUN|TRACE.csv", help="Number of a run, or a trace file.")],
    method: Annotated[
        str | None, typer.Option("--method", metavar="FILE", help="Method of a trace file, or another.")
    ] = None,
    rig: Annotated[
        Path | None, typer.Option("--rig", metavar="FILE", help="Rig file of a blank run.")
    ] = None,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Does the loss of a long run ever cease? Friable grains wear on and on, and no endpoint is one."""
    from logger.app.attrition import attrition as check
    from logger.core.trace import TraceError
    from logger.settings import find_config

    path = None if method is None else find_config("methods", method)
    try:
        found, plain = check(which, the_data(data), path, rig)
    except TraceError as error:
        fail(EXIT_REFUSED, str(error))
    print_out(plain if json_out else found.text)
