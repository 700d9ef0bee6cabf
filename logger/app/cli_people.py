"""Commands for the people of a bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from logger.app.cli_base import BenchOption, DataOption, JsonOption, print_out, the_data, the_kept_bench
from logger.app.cli_sieves import WhyOption

people_app = typer.Typer(
    help="Who may operate, review and administer on this bench, and their passwords.", no_args_is_help=True
)

PersonArgument = Annotated[str, typer.Argument(metavar="ID", help="The person's id.")]
RoleOption = Annotated[
    list[str] | None, typer.Option("--role", metavar="ROLE", help="operator, reviewer or admin; give each.")
]
ActorOption = Annotated[str, typer.Option("--by", metavar="ID", help="The admin who makes the entry.")]
PasswordFile = Annotated[
    Path | None,
    typer.Option(
        "--password-file", metavar="FILE", help="Password of --by, mode 0600; else it is asked for."
    ),
]
NewPasswordFile = Annotated[
    Path | None,
    typer.Option(
        "--new-password-file", metavar="FILE", help="The new password, mode 0600; else it is asked for."
    ),
]


def _tell(data: Path | None, bench: Path | None, args: dict[str, Any]) -> None:
    from logger.app.office import ask_office

    folder = the_data(data)
    print_out(ask_office(folder, lambda: the_kept_bench(bench, folder), "people", args))


@people_app.command("list")
def list_all(data: DataOption = None, json_out: JsonOption = False) -> None:
    """Everyone with roles, the retired ones too."""
    from logger.app.people import list_people

    print_out(list_people(the_data(data), json_out))


@people_app.command("add")
def add(
    person: PersonArgument,
    name: Annotated[str, typer.Option("--name", help="As it stands in records and on paper.")],
    role: RoleOption = None,
    by: ActorOption = "",
    why: WhyOption = "",
    no_password: Annotated[
        bool, typer.Option("--no-password", help="None yet: such a person can operate, not sign.")
    ] = False,
    password_file: PasswordFile = None,
    new_password_file: NewPasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Register a person. The first one must be an admin; later an admin does it by password."""
    from logger.app.people import acting, people_of
    from logger.app.secret_input import ask_new_password

    args: dict[str, Any] = {
        "do": "add",
        "id": person,
        "name": name,
        "roles": role or ["operator"],
        "why": why,
    }
    args |= acting(people_of(the_data(data)), by or person, password_file)
    if not no_password:
        args["new_password"] = ask_new_password(person, new_password_file)
    _tell(data, bench, args)


@people_app.command("change")
def change(
    person: PersonArgument,
    by: ActorOption,
    why: Annotated[str, typer.Option("--why", help="The reason; it is kept.")],
    name: Annotated[str | None, typer.Option("--name", help="The new name.")] = None,
    role: RoleOption = None,
    password_file: PasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Another name or other roles; what was before stays in the register."""
    from logger.app.people import acting, people_of

    args = {"do": "change", "person_id": person, "name": name, "roles": role, "why": why}
    _tell(data, bench, args | acting(people_of(the_data(data)), by, password_file))


@people_app.command("retire")
def retire(
    person: PersonArgument,
    by: ActorOption,
    why: Annotated[str, typer.Option("--why", help="The reason; it is kept.")],
    password_file: PasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Take a person out of use; the id stays taken, and what was signed stays signed."""
    from logger.app.people import acting, people_of

    args = {"do": "retire", "person_id": person, "why": why}
    _tell(data, bench, args | acting(people_of(the_data(data)), by, password_file))


@people_app.command("password")
def password(
    person: PersonArgument,
    by: Annotated[str, typer.Option("--by", metavar="ID", help="An admin, when it is not your own.")] = "",
    why: WhyOption = "",
    password_file: PasswordFile = None,
    new_password_file: NewPasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Set a password or PIN: your own, or as an admin (--by) that of someone else."""
    from logger.app.people import acting, people_of
    from logger.app.secret_input import ask_new_password

    args: dict[str, Any] = {"do": "password", "person_id": person, "why": why}
    args |= acting(people_of(the_data(data)), by or person, password_file)
    args["new_password"] = ask_new_password(person, new_password_file)
    _tell(data, bench, args)
