"""Commands of the sieve register."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from logger.app.cli_base import (
    EXIT_USAGE,
    GLOBALS,
    BenchOption,
    DataOption,
    JsonOption,
    fail,
    print_out,
    the_data,
    the_kept_bench,
)
from logger.app.paths import DEMO_BENCH, DataFolder

sieves_app = typer.Typer(help="Test sieves: certificate, tare, reference powder, runs.", no_args_is_help=True)

SieveArgument = Annotated[str, typer.Argument(metavar="SIEVE", help="The sieve's id.")]
ByOption = Annotated[str, typer.Option("--by", metavar="NAME", help="Who makes the entry.")]
WhyOption = Annotated[str, typer.Option("--why", help="Why, in a few words.")]


def keep(
    data: Path | None, bench: Path | None, kind: str, entry: dict[str, Any], by: str, why: str, json_out: bool
) -> None:
    """Makes the entry and says so; with --json the entry as it was kept."""
    from logger.app.register import enter, read_entries
    from logger.core.register.events import RegisterKind

    folder = the_data(data)
    text = enter(folder, lambda: the_kept_bench(bench, folder), RegisterKind(kind), entry, by, why)
    print_out(read_entries(folder)[-1] if json_out else text)


def bench_if_any(bench: Path | None, folder: DataFolder) -> Path | None:
    """The bench file where one is named or lies in the data folder."""
    there = any((folder.root / name).exists() for name in ("bench.toml", DEMO_BENCH))
    return the_kept_bench(bench, folder) if bench or GLOBALS.bench or there else None


@sieves_app.command("add")
def add(
    sieve: SieveArgument,
    aperture: Annotated[float, typer.Option("--aperture", metavar="UM", help="Nominal aperture, µm.")],
    by: ByOption,
    frame: Annotated[float, typer.Option("--frame", metavar="MM", help="Frame diameter, mm.")] = 200.0,
    standard: Annotated[
        str, typer.Option(help='"ISO 3310-1:2016", "ASTM E11-17", or certificate (electroformed).')
    ] = "ISO 3310-1:2016",
    certificate: Annotated[str, typer.Option(metavar="ID", help="Certificate of the sieve.")] = "",
    certified_on: Annotated[str, typer.Option(metavar="DATE", help="Its date, YYYY-MM-DD.")] = "",
    mean: Annotated[
        float | None, typer.Option("--mean", metavar="UM", help="Mean aperture by it, µm.")
    ] = None,
    mean_u: Annotated[
        float | None, typer.Option("--mean-u", metavar="UM", help="Its standard uncertainty (k = 1), µm.")
    ] = None,
    why: WhyOption = "",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter a test sieve."""
    entry = {
        "id": sieve,
        "aperture_um": aperture,
        "frame_mm": frame,
        "standard": standard,
        "certificate": certificate,
        "certified_on": certified_on,
        "mean_aperture_um": mean,
        "mean_aperture_u_um": mean_u,
    }
    keep(data, bench, "sieve_added", entry, by, why, json_out)


@sieves_app.command("list")
def list_all(data: DataOption = None, bench: BenchOption = None, json_out: JsonOption = False) -> None:
    """All sieves with runs, factor and what is due by the bench's rules."""
    from logger.app.sieves import list_sieves

    folder = the_data(data)
    print_out(list_sieves(folder, bench_if_any(bench, folder), json_out))


@sieves_app.command("show")
def show(
    sieve: SieveArgument, data: DataOption = None, bench: BenchOption = None, json_out: JsonOption = False
) -> None:
    """One sieve: certificate, tares, factors and their drift, runs."""
    from logger.app.sieves import show_sieve

    folder = the_data(data)
    print_out(show_sieve(folder, bench_if_any(bench, folder), sieve, json_out))


@sieves_app.command("tare")
def tare(
    sieve: SieveArgument,
    by: ByOption,
    mass: Annotated[
        float | None, typer.Option("--mass", metavar="G", help="Else what the service's balance shows.")
    ] = None,
    why: WhyOption = "after cleaning",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter the mass of the clean, dry sieve, which every run's tare is judged against."""
    from logger.app.register import mass_now

    mass_g = mass_now(the_data(data).socket) if mass is None else mass
    keep(data, bench, "sieve_tared", {"sieve_id": sieve, "mass_g": mass_g}, by, why, json_out)


@sieves_app.command("reference")
def reference(
    sieve: SieveArgument,
    by: ByOption,
    certified: Annotated[float, typer.Option(metavar="PCT", help="Certified residue of the powder, %.")],
    certified_u: Annotated[float, typer.Option(metavar="PCT", help="Its standard uncertainty (k = 1), %.")],
    certificate: Annotated[str, typer.Option(metavar="ID", help="Certificate of the powder.")],
    runs: Annotated[
        list[str] | None, typer.Option("--run", metavar="RUN", help="Runs that found it; give each.")
    ] = None,
    found: Annotated[
        float | None, typer.Option(metavar="PCT", help="Found residue, % (without --run).")
    ] = None,
    found_u: Annotated[float | None, typer.Option(metavar="PCT", help="Its standard uncertainty, %.")] = None,
    on: Annotated[
        str, typer.Option(metavar="DATE", help="When it was found, YYYY-MM-DD (without --run).")
    ] = "",
    why: WhyOption = "",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter a check with a reference powder: it gives the sieve's correction factor."""
    from logger.app.reference import found_by_runs

    entry: dict[str, Any] = {
        "sieve_id": sieve,
        "certified_pct": certified,
        "certified_u_pct": certified_u,
        "certificate": certificate,
    }
    if runs and (found is not None or found_u is not None or on):
        fail(EXIT_USAGE, "Give either --run, or --found with --found-u and --on.")
    if runs:
        entry |= found_by_runs(the_data(data), sieve, runs)
    elif found is None or found_u is None:
        fail(EXIT_USAGE, "Give the runs that found it (--run), or --found with --found-u and --on.")
    else:
        entry |= {"found_pct": found, "found_u_pct": found_u, "checked_on": on}
    keep(data, bench, "sieve_referenced", entry, by, why, json_out)


@sieves_app.command("retire")
def retire(
    sieve: SieveArgument,
    by: ByOption,
    why: Annotated[str, typer.Option("--why", help="The reason; it is kept.")],
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Take a sieve out of use; its history stays, and no run can name it again."""
    keep(data, bench, "sieve_retired", {"sieve_id": sieve}, by, why, json_out)


@sieves_app.command("chart")
def chart(
    sieve: SieveArgument,
    certificate: Annotated[str, typer.Option(metavar="ID", help="Which reference powder.")] = "",
    start: Annotated[int, typer.Option(min=8, help="First checks that set centre and limits.")] = 8,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Control chart of a reference powder on this sieve."""
    from logger.app.sieves import chart as draw

    print_out(draw(the_data(data), sieve, certificate, start, json_out))
