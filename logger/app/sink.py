"""Puts the reference subscriber together: broker settings from a URL, database by name, until a signal."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from logger.app.clock import utc_now
from logger.app.loops import run_loop
from logger.app.signals import end_tasks, signal_future
from logger.core.backoff import RetryRules
from logger.publish.errors import ConnectFailed, SecretError
from logger.publish.settings import BrokerSettings, load_password
from logger.publish.tls import tls_context
from logger.sink.database import Database, open_database
from logger.sink.keeping import Keeper
from logger.sink.report import read_report, report_lines
from logger.sink.subscriber import Sink, SinkOptions

CLIENT_ID = "lastgrain-sink"
_RULES = RetryRules(cap_s=15.0, slow_s=30.0)


class SinkUsageError(Exception):
    """An option that cannot be used; the text says which and what to give."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SinkCommand:
    """What `lastgrain sink` was asked for."""

    broker: str
    database: str
    client_id: str = CLIENT_ID
    username: str | None = None
    password_file: Path | None = None
    ca_file: Path | None = None
    share: str = ""


def broker_settings(command: SinkCommand) -> BrokerSettings:
    """`mqtts://HOST[:PORT]` for TLS, `mqtt://HOST[:PORT]` for plain. Raises SinkUsageError."""
    try:
        parts = urlsplit(command.broker)
        host, port = parts.hostname, parts.port
    except ValueError:
        parts, host, port = urlsplit(""), None, None
    if parts.scheme not in ("mqtt", "mqtts") or not host or parts.username or parts.password:
        raise SinkUsageError(
            "--broker: give mqtts://HOST[:PORT], or mqtt://HOST[:PORT] for a broker without TLS; the name with "
            "--username, the password in the environment or with --password-file."
        )
    plain = parts.scheme == "mqtt"
    if plain and command.ca_file is not None:
        raise SinkUsageError("--ca-file goes with mqtts://; what goes to mqtt:// is not encrypted.")
    try:
        password = load_password(command.password_file) if command.username else None
        settings = BrokerSettings(
            host=host,
            port=port or (1883 if plain else 8883),
            client_id=command.client_id,
            username=command.username,
            password=password,
            insecure=plain,
            ca_file=None if command.ca_file is None else str(command.ca_file),
        )
        tls_context(settings)  # a file that is no certificate is a slip of the pen, not an outage to wait out
    except (SecretError, ConnectFailed, ValueError) as error:
        raise SinkUsageError(str(error)) from None
    return settings


def named_database(name: str) -> Database:
    """The database, not opened yet. Raises SinkUsageError, WrongDatabase."""
    if "://" in name:
        try:
            secret = urlsplit(name).password or "password=" in urlsplit(name).query
        except ValueError:
            secret = None
        if secret:
            raise SinkUsageError(
                "--database: no password on the command line, others can read it there; use PGPASSWORD or a "
                "password file of PostgreSQL's own (PGPASSFILE)."
            )
        if not name.startswith(("postgresql://", "postgres://")):
            raise SinkUsageError("--database: give a file for SQLite, or postgresql://USER@HOST/NAME.")
    return open_database(name)


def run_sink(command: SinkCommand, tell: Callable[[str], None]) -> str:
    """Runs until a signal, gives its name. Raises SinkUsageError, WrongDatabase."""
    if any(letter in command.share for letter in "/+#"):
        raise SinkUsageError(f"--share {command.share}: a group's name has no /, + or #.")
    settings, database = broker_settings(command), named_database(command.database)
    try:
        return run_loop(_run(settings, database, SinkOptions(share=command.share), tell))
    finally:
        database.close()


async def _run(
    settings: BrokerSettings, database: Database, options: SinkOptions, tell: Callable[[str], None]
) -> str:
    stop = signal_future()
    subscriber = Sink(settings, Keeper(database, utc_now), options, tell, _RULES)
    work = asyncio.create_task(subscriber.run())
    everything: set[asyncio.Future[Any]] = {stop, work}
    await asyncio.wait(everything, return_when=asyncio.FIRST_COMPLETED)
    try:
        if work.done():
            work.result()
        return stop.result()
    finally:
        stop.cancel()
        await end_tasks([work])


def sink_report(name: str, json_out: bool) -> Any:
    """What the tables say, as text or JSON values. Raises SinkUsageError, WrongDatabase, DatabaseAway."""
    database = named_database(name)
    if "://" not in name and not Path(name).exists():
        raise SinkUsageError(f"--database {name}: there is no such file.")
    try:
        report = database.transaction(read_report)
    finally:
        database.close()
    return report.plain() if json_out else "\n".join(report_lines(report))
