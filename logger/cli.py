"""The command line: the one place that puts everything together. Heavy parts load inside their command."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

import logger
from logger.app.cli_approvals import add_to as add_approval_commands
from logger.app.cli_base import (
    EXIT_FAULT,
    EXIT_INTERRUPTED,
    EXIT_OK,
    EXIT_REFUSED,
    EXIT_STORE,
    EXIT_USAGE,
    GLOBALS,
    BenchOption,
    DataOption,
    JsonOption,
    fail,
    print_out,
    say,
    the_bench,
    the_data,
    the_kept_bench,
)
from logger.app.cli_blank import blank
from logger.app.cli_checks import checks_app
from logger.app.cli_common import CommonOptions
from logger.app.cli_doctor import doctor
from logger.app.cli_learn import learn, ports
from logger.app.cli_method import method_app, replay, study
from logger.app.cli_people import people_app
from logger.app.cli_report import runs_code, runs_report, runs_summary
from logger.app.cli_results import distribution, precision, results
from logger.app.cli_review import add_to as add_review_commands
from logger.app.cli_runs import runs_app
from logger.app.cli_setup import setup
from logger.app.cli_shift import shift_app, worklist_app
from logger.app.cli_sieves import sieves_app
from logger.app.cli_sink import sink
from logger.app.completion import method_ids
from logger.app.paths import data_folder
from logger.app.streams import finished, prepare_streams
from logger.core.refusal import ResultError
from logger.core.run.commands import Refused
from logger.settings.errors import ConfigError
from logger.store.errors import StoreError

app = typer.Typer(
    cls=CommonOptions,
    help="Data logger and run controller for air-jet sieving.",
    no_args_is_help=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.add_typer(runs_app, name="runs")
app.add_typer(sieves_app, name="sieves")
app.add_typer(checks_app, name="checks")
app.add_typer(shift_app, name="shift")
app.add_typer(worklist_app, name="worklist")
app.add_typer(method_app, name="method")
app.add_typer(people_app, name="people")
app.command()(replay)
app.command()(study)
app.command()(results)
app.command()(distribution)
app.command()(precision)
app.command()(blank)
app.command()(learn)
app.command()(ports)
app.command()(setup)
app.command()(doctor)
app.command()(sink)
runs_app.command("report")(runs_report)
runs_app.command("summary")(runs_summary)
runs_app.command("code")(runs_code)
add_review_commands(runs_app)
add_approval_commands(method_app)


@app.callback(invoke_without_command=True)
def _start(
    context: typer.Context,
    data: DataOption = None,
    bench: BenchOption = None,
    text: Annotated[
        bool,
        typer.Option("--text", help="Plain lines instead of a drawn console: screen readers, slow links."),
    ] = False,
    version: Annotated[bool, typer.Option("--version", help="Show the version.")] = False,
) -> None:
    """Without a subcommand: the console of the bench, with a service started when none answers."""
    GLOBALS.data, GLOBALS.bench = data, bench
    if version:
        print(f"lastgrain {logger.__version__}")
        raise typer.Exit(EXIT_OK)
    if context.invoked_subcommand is None:
        from logger.app.attach import attach

        folder = the_data(data)
        raise typer.Exit(attach(folder, lambda: the_bench(bench, folder), text=text))


@app.command()
def demo(
    headless: Annotated[bool, typer.Option(help="No screen: run to the end, print the record.")] = False,
    speed: Annotated[float, typer.Option(min=0.1, max=200.0, help="Bench seconds per real second.")] = 15.0,
    seed: Annotated[int, typer.Option(min=0, help="The same seed gives the same powder and noise.")] = 1,
    scenario: Annotated[str, typer.Option(help="Which invented powder.")] = "demo-filler",
    mode: Annotated[
        str, typer.Option(help="interval (balance beside) or live (rig on the balance).")
    ] = "interval",
    broker: Annotated[
        str | None, typer.Option(metavar="URL", help="mqtt://HOST:PORT, else one of its own.")
    ] = None,
    data: DataOption = None,
    json_out: JsonOption = False,
) -> None:
    """A whole run on a simulated rig with real ports and a broker of its own."""
    from logger.app.demo import DemoOptions
    from logger.app.demo import demo as run_demo

    if mode not in ("interval", "live"):
        fail(EXIT_USAGE, f"--mode {mode}: give interval or live.")
    given = data or GLOBALS.data
    options = DemoOptions(
        headless=headless or json_out,
        speed=speed,
        seed=seed,
        scenario=scenario,
        mode="live" if mode == "live" else "interval",
        broker=broker,
        data=None if given is None else data_folder(given),
    )
    raise typer.Exit(run_demo(options))


@app.command()
def serve(
    data: DataOption = None,
    bench: BenchOption = None,
    speed: Annotated[float, typer.Option(hidden=True)] = 1.0,
    simulated: Annotated[bool, typer.Option("--simulated", hidden=True)] = False,
) -> None:
    """The service alone, for a service manager. Ends cleanly on SIGTERM, SIGINT and SIGHUP."""
    from logger.app.serve import ServeOptions
    from logger.app.serve import serve as run_service

    folder = the_data(data)
    options = ServeOptions(data=folder, bench_path=the_bench(bench, folder), speed=speed, simulated=simulated)
    reason = run_service(options)
    raise typer.Exit(EXIT_INTERRUPTED if reason == "SIGINT" else EXIT_OK)


@app.command()
def simulate(
    scenario: Annotated[str, typer.Option(help="Which invented powder.")] = "demo-filler",
    seed: Annotated[int, typer.Option(min=0)] = 1,
    speed: Annotated[float, typer.Option(min=0.1, max=200.0)] = 1.0,
    tcp: Annotated[bool, typer.Option("--tcp", help="TCP ports instead of pseudo terminals.")] = False,
    arrangement: Annotated[str | None, typer.Option(help="beside or under; else the scenario's own.")] = None,
    pressure_dialect: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="How the transducer speaks, for example modbus-pressure."),
    ] = None,
    permit: Annotated[
        str | None, typer.Option(help="line or modbus: a relay that lets the suction run; else none.")
    ] = None,
    follow: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Hands follow the screen of the service with this data folder."),
    ] = None,
    link_dir: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Where the ports' links are made.")
    ] = None,
    json_out: JsonOption = False,
) -> None:
    """The virtual rig alone: prints the ports it serves and takes commands, a line each."""
    from logger.app.simulate import SimulateOptions
    from logger.app.simulate import simulate as run_rig

    if arrangement not in (None, "beside", "under"):
        fail(EXIT_USAGE, f"--arrangement {arrangement}: give beside or under.")
    if permit not in (None, "line", "modbus"):
        fail(EXIT_USAGE, f"--permit {permit}: give line or modbus.")
    options = SimulateOptions(
        scenario=scenario,
        seed=seed,
        speed=speed,
        ports="tcp" if tcp else "pty",
        link_dir=link_dir or Path.cwd() / "lastgrain-ports",
        arrangement="under" if arrangement == "under" else "beside" if arrangement == "beside" else None,
        pressure_dialect=pressure_dialect,
        permit="modbus" if permit == "modbus" else "line" if permit == "line" else None,
        follow=follow,
        json_out=json_out,
        keyboard=not json_out,
    )
    raise typer.Exit(run_rig(options))


@app.command()
def run(
    method: Annotated[str, typer.Option(metavar="ID", autocompletion=method_ids, help="Method id.")],
    sample: Annotated[str, typer.Option(metavar="ID", help="Sample id.")],
    operator: Annotated[str, typer.Option(metavar="ID", help="Your name or id.")],
    lot: Annotated[str, typer.Option()] = "",
    point: Annotated[str, typer.Option(help="Sampling point.")] = "",
    sampled_at: Annotated[str, typer.Option(metavar="TIME", help="When the sample was taken.")] = "",
    sieve: Annotated[str, typer.Option(metavar="ID", help="Test sieve, as the register names it.")] = "",
    repeat_reason: Annotated[
        str,
        typer.Option("--repeat-reason", help="Why a sample that was out of specification is tested again."),
    ] = "",
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """A run in line mode: prompts and answers in plain lines."""
    from logger.app.attach import attach_lines

    folder = the_data(data)
    start = {
        "method_id": method,
        "sample_id": sample,
        "operator_id": operator,
        "lot": lot,
        "point": point,
        "sampled_at": sampled_at,
        "sieve_id": sieve,
        "repeat_reason": repeat_reason,
    }
    raise typer.Exit(attach_lines(folder, lambda: the_bench(bench, folder), start))


@app.command()
def schema(
    kind: Annotated[
        str,
        typer.Argument(help="record, event, live, status, latest, readings, method, bench, rig, asyncapi."),
    ],
) -> None:
    """JSON Schema (2020-12) of what is published, kept or configured."""
    from logger.app.schemas import KINDS, schema_of

    if kind not in KINDS:
        fail(EXIT_USAGE, f"There is no schema {kind!r}; there are: {', '.join(KINDS)}.")
    print(json.dumps(schema_of(kind), indent=2, ensure_ascii=False))


@app.command()
def backup(
    to: Annotated[Path, typer.Argument(metavar="TO", help="A file that does not exist yet, or a folder.")],
    data: DataOption = None,
) -> None:
    """Copy the store to a file and check the copy. Safe while the service runs."""
    from logger.app.backup import back_up

    print(back_up(the_data(data), to))


@app.command()
def restore(
    copy: Annotated[Path, typer.Argument(metavar="FROM", help="A file that `backup` made.")],
    drill: Annotated[
        bool, typer.Option("--drill", help="On trial: in a scratch folder, compared with the live store.")
    ] = False,
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who does the drill.")] = "",
    why: Annotated[str, typer.Option("--why", help="Why the drill, in a few words.")] = "drill",
    data: DataOption = None,
    bench: BenchOption = None,
) -> None:
    """Put a backup in the store's place. Refused while a service runs; the old store is kept aside.

    With --drill nothing is put in place, a service may run, and that it was done is entered in the register.
    """
    if drill:
        from logger.app.drill import restore_drill

        folder = the_data(data)
        print_out(restore_drill(folder, lambda: the_kept_bench(bench, folder), copy, by, why))
        return
    from logger.app.backup import restore as restore_copy

    print(restore_copy(the_data(data), copy))


def main() -> None:
    """Entry point. Every failure ends in a sentence and its exit code."""
    prepare_streams()
    sys.exit(finished(_outcome()))


def _outcome() -> int:
    if any("\ud800" <= char <= "\udfff" for argument in sys.argv for char in argument):
        say("An argument is not UTF-8 text: rename the file, or type it again.")
        return EXIT_USAGE
    try:
        app(prog_name="lastgrain")
    except SystemExit as ended:
        if isinstance(ended.__context__, BrokenPipeError):  # the library's own answer to it would be 1
            return EXIT_OK
        return ended.code if isinstance(ended.code, int) else EXIT_OK
    except ConfigError as error:
        say(error.sentence())
        return EXIT_USAGE
    except (Refused, ResultError) as refusal:
        say(_refusal(str(refusal)))
        return EXIT_REFUSED
    except StoreError as error:
        say(str(error))
        return EXIT_STORE
    except KeyboardInterrupt:
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        return EXIT_OK
    except Exception as error:  # no traceback reaches a person
        from logger.app.fault_note import fault_sentence, place_sentence

        refused = place_sentence(error)
        say(refused or fault_sentence(error))
        return EXIT_STORE if refused else EXIT_FAULT
    return EXIT_OK


def _refusal(text: str) -> str:
    """As a sentence; a file's name or a key that it begins with stays as it is written."""
    first = text.split(" ", 1)[0].rstrip(",:")
    named = any(mark in first for mark in "./_:") or first in {Path(each).name for each in sys.argv}
    return (text if named else f"{text[:1].upper()}{text[1:]}").rstrip(".") + "."


if __name__ == "__main__":
    main()
