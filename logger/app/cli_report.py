"""Commands that print: the report of a run, the summary of a shift."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from logger.app.cli_base import EXIT_STORE, EXIT_USAGE, DataOption, JsonOption, fail, print_out, say, the_data
from logger.app.completion import run_numbers

if TYPE_CHECKING:
    from logger.app.report_files import Form
    from logger.report.document import Paper

FormatOption = Annotated[str, typer.Option("--format", metavar="html|pdf", help="PDF needs the extra `pdf`.")]
PaperOption = Annotated[str, typer.Option("--paper", metavar="a4|letter", help="Size of the paper.")]
LanguageOption = Annotated[str, typer.Option("--lang", metavar="CODE", help="Language of the texts: en, de.")]
ToOption = Annotated[Path, typer.Option("--to", metavar="PLACE", help="A folder, or the file's name.")]
ReplaceOption = Annotated[bool, typer.Option("--replace", help="Write over a file that is there already.")]


def chosen(form: str, paper: str) -> tuple[Form, Paper]:
    """Form and paper as asked for; ends with a sentence for what is not known."""
    from logger.app.report_files import FORMS, PAPERS

    known_form = next((each for each in FORMS if each == form.lower()), None)
    known_paper = next((each for each in PAPERS if each == paper.lower()), None)
    if known_form is None:
        fail(EXIT_USAGE, f"--format {form}: give html or pdf.")
    if known_paper is None:
        fail(EXIT_USAGE, f"--paper {paper}: give a4 or letter.")
    return known_form, known_paper


def runs_report(
    which: Annotated[
        str,
        typer.Argument(metavar="RUN", autocompletion=run_numbers, help="Number, or the beginning of the id."),
    ],
    form: FormatOption = "html",
    paper: PaperOption = "a4",
    language: LanguageOption = "en",
    to: ToOption = Path(),
    replace: ReplaceOption = False,
    data: DataOption = None,
) -> None:
    """The report of one run as an HTML or PDF file; prints its path. The same record gives the same bytes."""
    from logger.app.report import write_report

    known_form, known_paper = chosen(form, paper)
    path = write_report(
        the_data(data),
        which,
        to=to,
        form=known_form,
        paper=known_paper,
        language=language,
        replace=replace,
    )
    print(path)


def runs_summary(
    since: Annotated[
        str, typer.Option(metavar="TIME", help="2026-03-31T06:00Z, 2026-03-31, or 8h, 2d for so long ago.")
    ] = "",
    until: Annotated[str, typer.Option(metavar="TIME", help="The same; now when not given.")] = "",
    form: FormatOption = "html",
    paper: PaperOption = "a4",
    language: LanguageOption = "en",
    to: Annotated[
        Path | None, typer.Option("--to", metavar="PLACE", help="A folder or file; else lines are printed.")
    ] = None,
    replace: ReplaceOption = False,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """A shift on a page: runs, results, decisions, deviations, checks, and what waits for a review."""
    from logger.app.clock import utc_now
    from logger.app.shift_summary import shift_summary, summary_lines, summary_values, write_summary

    known_form, known_paper = chosen(form, paper)
    found = shift_summary(the_data(data), since, until, utc_now())
    if to is not None:
        path = write_summary(found, to, known_form, known_paper, language, replace)
        (say if json_out else print)(str(path))
    if json_out:
        print_out(summary_values(found))
    elif to is None:
        print_out(summary_lines(found, language))


def runs_code(
    which: Annotated[
        str,
        typer.Argument(metavar="RUN", autocompletion=run_numbers, help="Number, or the beginning of the id."),
    ],
    code: Annotated[str | None, typer.Argument(metavar="CODE", help="As printed on a report.")] = None,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """Is a printed page of this run? The codes of all its revisions; with CODE, which one. Exit 5 for none."""
    from dataclasses import asdict

    from logger.app.paper_codes import codes_text, paper_codes, verdict

    found = paper_codes(the_data(data), which)
    good, text = (True, codes_text(found)) if code is None else verdict(found, code)
    if json_out:
        of = None if code is None else found.of(code)
        print_out({**asdict(found), "code_of_revision": None if of is None else of.revision, "good": good})
    else:
        print_out(text)
    if not good:
        raise typer.Exit(EXIT_STORE)
