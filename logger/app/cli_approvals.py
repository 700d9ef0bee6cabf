"""Commands for the approval of methods."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from logger.app.cli_base import BenchOption, DataOption, JsonOption, print_out, the_data, the_kept_bench
from logger.app.cli_review import ByOption, PasswordFile

MethodArgument = Annotated[str, typer.Argument(metavar="ID", help="The method's id.")]


def add_to(method_app: typer.Typer) -> None:
    """Puts the commands under `method`."""
    method_app.command("approve")(approve)
    method_app.command("withdraw")(withdraw)
    method_app.command("approvals")(approvals)


def _do(data: Path | None, bench: Path | None, by: str, file: Path | None, args: dict[str, Any]) -> None:
    from logger.app.office import ask_office
    from logger.app.review import author, people_of

    folder = the_data(data)
    request = args | author(people_of(folder), by, file)
    print_out(ask_office(folder, lambda: the_kept_bench(bench, folder), "approval", request))


def approve(
    method: MethodArgument,
    by: ByOption,
    effective: Annotated[
        str, typer.Option("--from", metavar="DATE", help="In force from this day (UTC) on; else from today.")
    ] = "",
    why: Annotated[str, typer.Option("--why", help="A remark.")] = "",
    password_file: PasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Approve a method as the bench offers it now, with its hash. Needs a reviewer or an admin."""
    args = {"do": "approve", "method_id": method, "effective_from": effective, "why": why}
    _do(data, bench, by, password_file, args)


def withdraw(
    method: MethodArgument,
    revision: Annotated[int, typer.Option("--revision", metavar="N", help="Which revision.")],
    by: ByOption,
    why: Annotated[str, typer.Option("--why", help="The reason; it is kept.")],
    password_file: PasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """End the approval of a revision."""
    args = {"do": "withdraw", "method_id": method, "revision": revision, "why": why}
    _do(data, bench, by, password_file, args)


def approvals(data: DataOption = None, json_out: JsonOption = False) -> None:
    """Every approval, and which are in force today."""
    from logger.app.approvals import list_approvals

    print_out(list_approvals(the_data(data), json_out))
