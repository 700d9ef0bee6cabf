"""Commands for the start of a shift, and for planned samples."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from logger.app.cli_base import (
    EXIT_REFUSED,
    GLOBALS,
    BenchOption,
    DataOption,
    JsonOption,
    print_out,
    say,
    the_data,
    the_kept_bench,
)
from logger.app.cli_sieves import ByOption, WhyOption, bench_if_any, keep

shift_app = typer.Typer(help="Start of a shift: what is due, and the entries that go with it.")
worklist_app = typer.Typer(help="Planned samples: import from CSV, list, withdraw.", no_args_is_help=True)

NoteOption = Annotated[str, typer.Option("--note", help="A few words; they are kept.")]
WithdrawWhy = Annotated[str, typer.Option("--why", help="The reason; it is kept.")]
ItemArgument = Annotated[int, typer.Argument(metavar="ITEM", help="Number on the worklist.")]


@shift_app.callback(invoke_without_command=True)
def shift(
    context: typer.Context, data: DataOption = None, bench: BenchOption = None, json_out: JsonOption = False
) -> None:
    """What is due now, in order. Exit 3 when something is due or has failed."""
    if context.invoked_subcommand is not None:
        GLOBALS.data, GLOBALS.bench = data or GLOBALS.data, bench or GLOBALS.bench
        return
    from logger.app.shift import list_shift

    folder = the_data(data)
    ready, answer = list_shift(folder, the_kept_bench(bench, folder), json_out)
    print_out(answer)
    if not ready:
        raise typer.Exit(EXIT_REFUSED)


@shift_app.command("air")
def air(
    by: ByOption,
    temperature: Annotated[float, typer.Option(metavar="C", help="At the bench, °C (-20 to 60).")],
    humidity: Annotated[float, typer.Option(metavar="PCT", help="Relative humidity, % (0 to 100).")],
    why: WhyOption = "start of shift",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter temperature and humidity; they go into the records of the shift's runs."""
    entry = {"temperature_c": temperature, "humidity_pct": humidity}
    keep(data, bench, "air_measured", entry, by, why, json_out)


@shift_app.command("bag")
def bag(
    by: ByOption,
    part: Annotated[str, typer.Option(help="bag or filter.")] = "bag",
    note: NoteOption = "",
    why: WhyOption = "changed",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter that the extractor's bag or filter was changed."""
    keep(data, bench, "part_changed", {"part": part, "note": note}, by, why, json_out)


@shift_app.command("zero")
def zero(
    by: ByOption,
    zero_pa: Annotated[
        float | None,
        typer.Option("--zero", metavar="PA", help="With the suction off, Pa; else what is shown now."),
    ] = None,
    why: WhyOption = "start of shift",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter the pressure transducer's zero. Exit 3 when it is outside its tolerance; the entry is kept."""
    from logger.app.live_zero import zero_now
    from logger.app.register import read_entries

    found_pa = zero_now(the_data(data).socket) if zero_pa is None else zero_pa
    keep(data, bench, "pressure_zeroed", {"zero_pa": found_pa}, by, why, json_out)
    if not read_entries(the_data(data))[-1]["data"]["passed"]:
        raise typer.Exit(EXIT_REFUSED)


@shift_app.command("drill")
def drill(
    by: ByOption,
    note: Annotated[str, typer.Option("--note", help="Which backup, where, and what came out of it.")],
    why: WhyOption = "drill",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter that a backup was restored on trial."""
    keep(data, bench, "restore_drilled", {"note": note}, by, why, json_out)


@shift_app.command("withdraw")
def withdraw(
    kind: Annotated[str, typer.Argument(metavar="WHAT", help="air, bag, zero or drill.")],
    by: ByOption,
    why: WithdrawWhy,
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Withdraw the newest entry of a kind, made within the last hour, by an entry of its own."""
    entry = {"kind": _KINDS.get(kind, kind)}
    keep(data, bench, "entry_withdrawn", entry, by, why, json_out)


_KINDS = {
    "air": "air_measured",
    "bag": "part_changed",
    "filter": "part_changed",
    "zero": "pressure_zeroed",
    "drill": "restore_drilled",
}


@worklist_app.command("import")
def worklist_import(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV; its first line names the columns.")],
    by: ByOption,
    check: Annotated[bool, typer.Option("--check", help="Only read and judge; nothing is kept.")] = False,
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Plan the samples of a file. Exit 3 with every fault by line when it is not right; then nothing is kept."""
    from logger.app.shift import import_worklist

    folder = the_data(data)
    lines, plain = import_worklist(folder, the_kept_bench(bench, folder), file, by, check)
    for line in lines[:-1]:
        say(line)
    print_out(plain if json_out else lines[-1])


@worklist_app.command("list")
def worklist_list(
    everything: Annotated[bool, typer.Option("--all", help="Done and withdrawn ones too.")] = False,
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Planned samples in the order in which they should be done, with their state."""
    from logger.app.shift import list_worklist

    folder = the_data(data)
    print_out(list_worklist(folder, bench_if_any(bench, folder), everything, json_out))


@worklist_app.command("withdraw")
def worklist_withdraw(
    item: ItemArgument,
    by: ByOption,
    why: WithdrawWhy,
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Take a planned sample off the list; it is kept, with the reason."""
    from logger.app.shift import check_withdrawal

    folder = the_data(data)
    check_withdrawal(folder, the_kept_bench(bench, folder), item)
    keep(data, bench, "sample_withdrawn", {"item": item}, by, why, json_out)


@worklist_app.command("restore")
def worklist_restore(
    item: ItemArgument,
    by: ByOption,
    why: WhyOption = "",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Put a withdrawn sample back on the list."""
    entry: dict[str, Any] = {"item": item}
    keep(data, bench, "sample_restored", entry, by, why, json_out)
