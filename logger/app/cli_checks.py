"""Commands for checks of balance and pressure transducer before use."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from logger.app.cli_base import (
    EXIT_REFUSED,
    MOST_LINES,
    BenchOption,
    DataOption,
    JsonOption,
    print_out,
    the_data,
    the_kept_bench,
)
from logger.app.cli_sieves import ByOption, WhyOption, keep
from logger.app.completion import run_numbers

checks_app = typer.Typer(
    help="Checks of balance and pressure transducer before use, and what is due.", no_args_is_help=True
)


@checks_app.command("balance")
def balance(
    by: ByOption,
    weight: Annotated[str, typer.Option(metavar="ID", help="Check weight, as the bench file names it.")],
    reading: Annotated[
        float | None, typer.Option(metavar="G", help="With the weight on; else what the balance shows now.")
    ] = None,
    zero: Annotated[float, typer.Option(metavar="G", help="What the empty pan showed.")] = 0.0,
    why: WhyOption = "before use",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter a check with a check weight. Exit 3 when it failed; the entry is kept either way."""
    from logger.app.register import mass_now

    reading_g = mass_now(the_data(data).socket) if reading is None else reading
    entry = {"weight_id": weight, "zero_g": zero, "reading_g": reading_g}
    _judged("balance_checked", entry, by, why, data, bench, json_out)


@checks_app.command("pressure")
def pressure(
    by: ByOption,
    zero: Annotated[float, typer.Option(metavar="PA", help="What it shows with both hoses open, Pa.")],
    span: Annotated[
        list[str] | None,
        typer.Option(metavar="APPLIED:READING", help="Pressure applied and shown, Pa; give each."),
    ] = None,
    reference: Annotated[str, typer.Option(metavar="ID", help="Reference instrument of the span.")] = "",
    certificate: Annotated[str, typer.Option(metavar="ID", help="Certificate of the reference.")] = "",
    valid_until: Annotated[
        str, typer.Option("--valid-until", metavar="DATE", help="Last day of that certificate, YYYY-MM-DD.")
    ] = "",
    why: WhyOption = "before use",
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """Enter a check of zero and span. Exit 3 when it failed; the entry is kept either way."""
    from logger.app.checks import span_points

    entry = {
        "zero_pa": zero,
        "span": span_points(span or []),
        "reference": reference,
        "certificate": certificate,
        "valid_until": valid_until,
    }
    _judged("pressure_checked", entry, by, why, data, bench, json_out)


def _judged(
    kind: str, entry: dict[str, Any], by: str, why: str, data: Any, bench: Any, json_out: bool
) -> None:
    from logger.app.register import read_entries

    keep(data, bench, kind, entry, by, why, json_out)
    if not read_entries(the_data(data))[-1]["data"]["passed"]:
        raise typer.Exit(EXIT_REFUSED)


@checks_app.command("list")
def list_all(
    limit: Annotated[int, typer.Option(min=1, max=MOST_LINES, help="Newest checks of each kind.")] = 10,
    data: DataOption = None,
    bench: BenchOption = None,
    json_out: JsonOption = False,
) -> None:
    """How balance, pressure transducer and sieves stand, and the newest checks."""
    from logger.app.checks import list_checks

    folder = the_data(data)
    print_out(list_checks(folder, the_kept_bench(bench, folder), limit, json_out))


@checks_app.command("drying")
def drying(
    weighings: Annotated[
        list[str], typer.Argument(metavar="MINUTES:GRAMS...", help="Weighings since drying began, in order.")
    ],
    json_out: JsonOption = False,
) -> None:
    """Has the sample dried to constant mass? Exit 3 when not. Nothing is kept."""
    from logger.app.checks import drying as judge

    reached, answer = judge(weighings, json_out)
    print_out(answer)
    if not reached:
        raise typer.Exit(EXIT_REFUSED)


@checks_app.command("air")
def air(
    pressure: Annotated[float, typer.Option(metavar="HPA", help="Air pressure at the bench, hPa.")],
    humidity: Annotated[float, typer.Option(metavar="PCT", help="Relative humidity, %.")],
    temperature: Annotated[float, typer.Option(metavar="C", help="Temperature, °C.")],
    powder_density: Annotated[
        float | None, typer.Option(metavar="KG_M3", help="True density of the powder (not bulk), kg/m3.")
    ] = None,
    json_out: JsonOption = False,
) -> None:
    """Air density, and what buoyancy does to the weighings. Nothing is kept."""
    from logger.app.checks import air as work_out

    print_out(work_out(pressure, humidity, temperature, powder_density, json_out))


@checks_app.command("losses")
def losses(
    run: Annotated[
        str,
        typer.Argument(metavar="RUN", autocompletion=run_numbers, help="Number, or the beginning of the id."),
    ],
    collected: Annotated[float, typer.Option(metavar="G", help="Passing that was collected and weighed, g.")],
    limit: Annotated[
        float, typer.Option(metavar="PCT", min=0.0, help="Loss allowed, % of the charge.")
    ] = 2.0,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Mass balance of one run. Exit 3 beyond the limit. Nothing is kept."""
    from logger.app.checks import losses as judge

    within, answer = judge(the_data(data), run, collected, limit, json_out)
    print_out(answer)
    if not within:
        raise typer.Exit(EXIT_REFUSED)
