"""Commands for the history: `lastgrain runs ...`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from logger.app.cli_base import (
    EXIT_STORE,
    EXIT_USAGE,
    MOST_LINES,
    MOST_NUMBER,
    DataOption,
    JsonOption,
    fail,
    print_out,
    the_data,
)
from logger.app.cli_report import ReplaceOption
from logger.app.completion import run_numbers
from logger.core.run.commands import Refused
from logger.core.run_list import DECISIONS, OUTCOMES, REVIEWS, run_filter

runs_app = typer.Typer(help="The history: list, show, compare, export and verify runs.", no_args_is_help=True)

_Text = Annotated[
    str,
    typer.Option(
        "--search", metavar="WORDS", help="Beginnings of words of sample, lot, operator, method or run id."
    ),
]
_DAY = "Day (UTC), such as 2026-03-31."


@runs_app.command("list")
def runs_list(
    limit: Annotated[int, typer.Option(min=1, max=MOST_LINES, help="How many, newest first.")] = 20,
    search: _Text = "",
    method: Annotated[str, typer.Option(metavar="ID", help="Method id.")] = "",
    outcome: Annotated[str, typer.Option(help=f"One of {', '.join(OUTCOMES)}.")] = "",
    decision: Annotated[str, typer.Option(help=f"One of {', '.join(DECISIONS)}.")] = "",
    review: Annotated[str, typer.Option(help=f"One of {', '.join(REVIEWS)}.")] = "",
    since: Annotated[str, typer.Option(metavar="DAY", help=f"{_DAY}")] = "",
    until: Annotated[str, typer.Option(metavar="DAY", help=f"{_DAY} It is included.")] = "",
    sieve: Annotated[str, typer.Option(metavar="ID", help="Test sieve.")] = "",
    group: Annotated[
        str, typer.Option(metavar="NUMBER", help="Determinations with this run: same sample, lot and method.")
    ] = "",
    before: Annotated[
        int | None,
        typer.Option(
            metavar="NUMBER", min=1, max=MOST_NUMBER, help="Only runs older than this one: the next page."
        ),
    ] = None,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Newest runs first, all or those that fit."""
    from logger.app.runs import list_runs

    typed = {"text": search, "method_id": method, "outcome": outcome, "decision": decision, "review": review}
    typed |= {"since": since, "until": until, "sieve_id": sieve, "like": group}
    try:
        wanted = run_filter(typed)
    except Refused as refusal:
        fail(EXIT_USAGE, str(refusal))
    print_out(list_runs(the_data(data), wanted, limit, before, json_out))


@runs_app.command("show")
def runs_show(
    which: Annotated[
        str,
        typer.Argument(metavar="RUN", autocompletion=run_numbers, help="Number, or the beginning of the id."),
    ],
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """One run: result, decision, weighings, events."""
    from logger.app.runs import show_run

    print_out(show_run(the_data(data), which, json_out))


@runs_app.command("export")
def runs_export(
    which: Annotated[
        str | None,
        typer.Argument(metavar="RUN", autocompletion=run_numbers, help="Number, or the beginning of the id."),
    ] = None,
    to: Annotated[Path, typer.Option("--to", metavar="DIR", help="Where the files are written.")] = Path(),
    table: Annotated[
        bool, typer.Option("--csv", help="One table for a spreadsheet, a line a run: of RUN, or of all.")
    ] = False,
    bundle: Annotated[
        bool, typer.Option("--bundle", help="One zip file that `runs verify --bundle` checks anywhere.")
    ] = False,
    replace: ReplaceOption = False,
    data: DataOption = None,
) -> None:
    """Record (JSON), events, readings (CSV) and trace of one run, as files named by the run's number."""
    from logger.app.export import export_bundle, export_records, export_run

    if table and bundle:
        fail(EXIT_USAGE, "Give either --csv or --bundle.")
    if table:
        paths = export_records(the_data(data), which, to, replace)
    elif which is None:
        fail(EXIT_USAGE, "Name the run: its number, or the beginning of its id (`lastgrain runs list`).")
    else:
        paths = (export_bundle if bundle else export_run)(the_data(data), which, to, replace)
    for path in paths:
        print(path)


@runs_app.command("verify")
def runs_verify(
    which: Annotated[
        str | None,
        typer.Argument(
            metavar="RUN",
            autocompletion=run_numbers,
            help="One run alone: quick; without it the whole store.",
        ),
    ] = None,
    head: Annotated[
        str | None, typer.Option(metavar="BATCH:SHA256", help="A head that was kept elsewhere.")
    ] = None,
    register: Annotated[
        str | None,
        typer.Option("--register", metavar="NUMBER:SHA256", help="A head of the register kept elsewhere."),
    ] = None,
    bundle: Annotated[
        Path | None, typer.Option("--bundle", metavar="FILE", help="Check this exported run; needs no store.")
    ] = None,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Check the hash chain, the readings and the records. Exit 5 when something was altered or is missing."""
    from logger.app.runs import verify_bundle, verify_one, verify_store

    if bundle is not None and which is not None:
        fail(EXIT_USAGE, "Give either RUN or --bundle.")
    if register is not None and (bundle is not None or which is not None):
        fail(EXIT_USAGE, "The register is that of the whole store: give --register without RUN and --bundle.")
    if bundle is not None:
        findings = verify_bundle(bundle, head)
    elif which is not None:
        findings = verify_one(the_data(data), which, head)
    else:
        findings = verify_store(the_data(data), head, register)
    if json_out:
        print_out([{"verdict": finding.verdict, "text": finding.text} for finding in findings])
    else:
        print("\n".join(f"{finding.verdict}: {finding.text}" for finding in findings))
    if not all(finding.sound for finding in findings):
        raise typer.Exit(EXIT_STORE)


@runs_app.command("compare")
def runs_compare(
    which: Annotated[list[str], typer.Argument(metavar="RUN RUN...", help="Two to six runs.")],
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Figures of several runs side by side, a column a run."""
    from logger.app.compare import MOST, compare

    if not 2 <= len(which) <= MOST:
        fail(EXIT_USAGE, f"Name two to {MOST} runs.")
    print_out(compare(the_data(data), which, json_out))
