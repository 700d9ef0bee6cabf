"""Commands that turn runs into results: determinations of a sample, distribution, precision study."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logger.app.cli_base import (
    EXIT_USAGE,
    MOST_NUMBER,
    DataOption,
    JsonOption,
    fail,
    print_out,
    say,
    the_data,
)
from logger.app.cli_report import FormatOption, LanguageOption, PaperOption, ReplaceOption, chosen

if TYPE_CHECKING:
    from logger.core.distribution.fits import Way
    from logger.core.distribution.interpolation import Axes

WAYS: tuple[Way, ...] = ("line", "direct")
STEEPEST = 1000.0
"""% per µm: far beyond any powder, near enough for sums to stay finite."""
AXES: tuple[Axes, ...] = ("plain", "rrsb", "ggs", "log-normal")


def results(
    sample: Annotated[str, typer.Option("--sample", metavar="ID", help="Sample id.")],
    lot: Annotated[str | None, typer.Option("--lot", metavar="ID", help="Only runs of this lot.")] = None,
    slope: Annotated[
        float | None,
        typer.Option(
            "--slope",
            metavar="PCT_PER_UM",
            help="Slope of the residue curve at the aperture, % per µm, as `distribution` prints it.",
        ),
    ] = None,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """The determinations of a sample joined: do they agree, what to do next, result and decision."""
    from logger.app.results import sample_results

    if slope is not None and not -STEEPEST <= slope <= STEEPEST:
        fail(EXIT_USAGE, f"--slope {slope:g}: give the slope in % per µm, -{STEEPEST:g} to {STEEPEST:g}.")
    print_out(sample_results(the_data(data), sample, lot, slope, json_out))


def distribution(
    runs: Annotated[list[str], typer.Argument(metavar="RUN...", help="Runs of one sample, one sieve each.")],
    to: Annotated[Path | None, typer.Option("--to", metavar="FILE.svg", help="Write the chart here.")] = None,
    axes: Annotated[str, typer.Option(help="plain, rrsb, ggs or log-normal paper.")] = "plain",
    way: Annotated[str, typer.Option(help="Fit as line on the paper, or direct in the residue.")] = "line",
    loss_limit: Annotated[
        float, typer.Option(metavar="PCT", min=0.0, help="Loss allowed when one portion is carried upwards.")
    ] = 2.0,
    report: Annotated[
        Path | None, typer.Option("--report", metavar="PLACE", help="Write a report: a folder, or a file.")
    ] = None,
    form: FormatOption = "html",
    paper: PaperOption = "a4",
    language: LanguageOption = "en",
    replace: ReplaceOption = False,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Distribution from several sieves: table, d10, d50, d90, three fits, mass balance, chart, report."""
    from logger.app.distribution import distribution as work_out

    chosen_way = next((each for each in WAYS if each == way), None)
    chosen_axes = next((each for each in AXES if each == axes), None)
    if chosen_way is None or chosen_axes is None:
        fail(EXIT_USAGE, f"--way is one of {', '.join(WAYS)}; --axes is one of {', '.join(AXES)}.")
    if to is not None and to.suffix.lower() != ".svg":
        fail(EXIT_USAGE, f"--to {to}: the chart is an SVG drawing, name a file that ends in .svg.")
    if report is not None:
        from logger.app.distribution_report import write_distribution_report

        known_form, known_paper = chosen(form, paper)
        path = write_distribution_report(
            the_data(data),
            runs,
            loss_limit_pct=loss_limit,
            way=chosen_way,
            axes=chosen_axes,
            to=report,
            form=known_form,
            paper=known_paper,
            language=language,
            replace=replace,
        )
        say(str(path))
    print_out(work_out(the_data(data), runs, loss_limit, chosen_way, chosen_axes, to, json_out, replace))


def precision(
    table: Annotated[
        Path | None,
        typer.Argument(metavar="FILE.csv", help="Columns material, group, residue_pct; a line a value."),
    ] = None,
    method: Annotated[
        str | None, typer.Option("--method", metavar="ID", help="Instead: the duplicates of the history.")
    ] = None,
    revision: Annotated[
        int | None, typer.Option(min=1, max=MOST_NUMBER, help="Only this revision of the method.")
    ] = None,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Precision study (ISO 5725-2): s_r, s_R, r and R, with Cochran's and Grubbs' tests; or s_r of duplicates."""
    from logger.app.precision import precision as study
    from logger.app.precision import precision_of_runs

    if (table is None) == (method is None):
        fail(EXIT_USAGE, "Give either a table (FILE.csv) or --method ID.")
    if table is not None:
        print_out(study(table, json_out))
    elif method is not None:
        print_out(precision_of_runs(the_data(data), method, revision, json_out))
