"""The command of the reference subscriber."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from logger.app.cli_base import (
    EXIT_INTERRUPTED,
    EXIT_OK,
    EXIT_STORE,
    EXIT_USAGE,
    JsonOption,
    fail,
    print_out,
    say,
)


def sink(
    database: Annotated[
        str,
        typer.Option("--database", metavar="FILE|URL", help="SQLite file, or postgresql://USER@HOST/NAME."),
    ],
    broker: Annotated[
        str | None, typer.Option("--broker", metavar="URL", help="mqtts://HOST[:PORT]; mqtt:// without TLS.")
    ] = None,
    client_id: Annotated[
        str, typer.Option("--client-id", metavar="ID", help="Fixed: the broker keeps messages for this name.")
    ] = "lastgrain-sink",
    username: Annotated[str | None, typer.Option("--username", metavar="NAME")] = None,
    password_file: Annotated[
        Path | None,
        typer.Option("--password-file", metavar="FILE", help="Mode 0600; or LASTGRAIN_BROKER_PASSWORD."),
    ] = None,
    ca_file: Annotated[
        Path | None, typer.Option("--ca-file", metavar="FILE", help="PEM of the plant's own authority.")
    ] = None,
    share: Annotated[
        str, typer.Option("--share", metavar="GROUP", help="Divide the messages among the sinks of a group.")
    ] = "",
    report: Annotated[bool, typer.Option("--report", help="Print what the tables hold, and end.")] = False,
    json_out: JsonOption = False,
) -> None:
    """Reference subscriber: records, events and readings of all benches into SQL tables, each once."""
    from logger.app.sink import SinkCommand, SinkUsageError, run_sink, sink_report
    from logger.sink.database import DatabaseAway, WrongDatabase

    try:
        if report:
            print_out(sink_report(database, json_out))
            return
        if broker is None:
            fail(EXIT_USAGE, "Name the broker with --broker, or ask for --report.")
        command = SinkCommand(
            broker=broker,
            database=database,
            client_id=client_id,
            username=username,
            password_file=password_file,
            ca_file=ca_file,
            share=share,
        )
        reason = run_sink(command, say)
    except SinkUsageError as error:
        fail(EXIT_USAGE, str(error))
    except (WrongDatabase, DatabaseAway) as error:
        fail(EXIT_STORE, f"The database cannot be used: {error}")
    raise typer.Exit(EXIT_INTERRUPTED if reason == "SIGINT" else EXIT_OK)
