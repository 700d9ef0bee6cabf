"""Commands for what follows the end of a run: sign, correct, invalidate, republish."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from logger.app.cli_base import (
    EXIT_USAGE,
    MOST_NUMBER,
    BenchOption,
    DataOption,
    fail,
    print_out,
    the_data,
    the_kept_bench,
)
from logger.app.completion import run_numbers

RunArgument = Annotated[
    str, typer.Argument(metavar="RUN", autocompletion=run_numbers, help="Number, or the beginning of the id.")
]
ByOption = Annotated[str, typer.Option("--by", metavar="ID", help="Who does it.")]
WhyOption = Annotated[str, typer.Option("--why", help="The reason; it stands in the record for good.")]
PasswordFile = Annotated[
    Path | None,
    typer.Option(
        "--password-file", metavar="FILE", help="Password of --by, mode 0600; else it is asked for."
    ),
]


def add_to(runs_app: typer.Typer) -> None:
    """Puts the commands under `runs`."""
    runs_app.command("sign")(sign)
    runs_app.command("correct")(correct)
    runs_app.command("invalidate")(invalidate)
    runs_app.command("republish")(republish)


def _do(data: Path | None, bench: Path | None, name: str, args: dict[str, Any]) -> None:
    from logger.app.office import ask_office

    folder = the_data(data)
    print_out(ask_office(folder, lambda: the_kept_bench(bench, folder), name, args))


def sign(
    which: RunArgument,
    accept: Annotated[
        bool | None, typer.Option("--accept/--reject", help="What you decide; else it is asked.")
    ] = None,
    by: ByOption = "",
    why: Annotated[str, typer.Option("--why", help="A remark; needed for a rejection.")] = "",
    password_file: PasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Review a run and sign: accept or reject. The reviewer is never its operator."""
    from logger.app.review import signing

    _do(data, bench, "review", signing(the_data(data), which, accept, by, why, password_file))


def correct(
    which: RunArgument,
    by: ByOption,
    why: WhyOption,
    sample: Annotated[str | None, typer.Option(metavar="ID", help="Right sample id.")] = None,
    lot: Annotated[str | None, typer.Option(help="Right lot.")] = None,
    point: Annotated[str | None, typer.Option(help="Right sampling point.")] = None,
    sampled_at: Annotated[str | None, typer.Option(metavar="TIME", help="Right sampling time.")] = None,
    remark: Annotated[str, typer.Option(help="A remark for the record.")] = "",
    tare: Annotated[float | None, typer.Option(metavar="G", help="Right tare, if it was typed.")] = None,
    weighing: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NUMBER:G", help="Right mass with the sieve, if it was typed; 0 is the charge. Give each."
        ),
    ] = None,
    password_file: PasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Put right what was entered wrong. What stood there before stays; the run waits for a review again."""
    from logger.app.review import author, people_of, read_weighings

    changes: dict[str, Any] = {
        "sample_id": sample,
        "lot": lot,
        "point": point,
        "sampled_at": sampled_at,
        "remark": remark,
        "tare_g": tare,
        "weighings": read_weighings(weighing or []),
    }
    args = {"do": "correct", "run": which, "why": why, "changes": changes}
    _do(data, bench, "review", args | author(people_of(the_data(data)), by, password_file))


def invalidate(
    which: RunArgument,
    by: ByOption,
    why: WhyOption,
    password_file: PasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Declare a result invalid. It stays in the record's revision before, and the plant is told."""
    from logger.app.review import author, people_of

    args = {"do": "invalidate", "run": which, "why": why}
    _do(data, bench, "review", args | author(people_of(the_data(data)), by, password_file))


def republish(
    by: ByOption,
    which: Annotated[
        str | None,
        typer.Argument(metavar="RUN", autocompletion=run_numbers, help="Number, or the beginning of the id."),
    ] = None,
    first: Annotated[
        int | None, typer.Option("--from", metavar="N", min=1, max=MOST_NUMBER, help="First run.")
    ] = None,
    last: Annotated[
        int | None, typer.Option("--to", metavar="N", min=1, max=MOST_NUMBER, help="Last run.")
    ] = None,
    by_seq: Annotated[
        bool, typer.Option("--seq", help="--from and --to are numbers of messages: for a gap in `seq`.")
    ] = False,
    why: WhyOption = "",
    password_file: PasswordFile = None,
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Send what was published once more, under the same numbers, so that a consumer keeps it once."""
    from logger.app.review import author, people_of, run_numbers

    folder = the_data(data)
    if which is not None and first is None and last is None and not by_seq:
        first, last = run_numbers(folder, which)
    elif which is not None or first is None or last is None:
        fail(EXIT_USAGE, "Name one run, or give --from and --to.")
    args = {"first": first, "last": last, "by_seq": by_seq, "why": why}
    _do(data, bench, "send_again", args | author(people_of(folder), by, password_file))
