"""The register for the command line: entries through the service where one runs, else straight into the store."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Mapping
from pathlib import Path
from typing import Any

from logger.app.cli_base import say
from logger.app.clock import utc_now
from logger.app.paths import DataFolder
from logger.app.plan import bench_plan
from logger.core.register.events import RegisterKind
from logger.core.register.state import RegisterState, fold_register
from logger.core.run.commands import Refused
from logger.core.run.plan import BenchPlan
from logger.service.client import ServiceClient, Watch
from logger.service.local_socket import answers
from logger.service.register_desk import entered_text, entry_maker
from logger.settings import load_bench
from logger.store.history import reading
from logger.store.lock import InstanceLock
from logger.store.opening import open_store
from logger.store.register import enter_alone, plain_entry, register_events

GREETING_S = 5.0
"""How long a running service may take to say hello."""


def read_register(data: DataFolder) -> RegisterState:
    """The register as it stands; empty before the first entry. Raises StoreError."""
    if not data.store.exists():
        return RegisterState()
    with reading(data.store) as connection:
        return fold_register(register_events(connection))


def read_entries(data: DataFolder) -> list[dict[str, Any]]:
    """Every entry as JSON values, oldest first. Raises StoreError."""
    if not data.store.exists():
        return []
    with reading(data.store) as connection:
        return [plain_entry(event) for event in register_events(connection)]


def read_plan(bench_path: Path) -> BenchPlan:
    """The bench's rules for checks and the figures of its balance. Raises ConfigError."""
    return bench_plan(load_bench(bench_path))


def enter(
    data: DataFolder,
    bench_path: Callable[[], Path],
    kind: RegisterKind,
    entry: Mapping[str, Any],
    by: str,
    why: str,
) -> str:
    """One entry; gives the sentence that answers it. A running service knows its bench file itself.

    Raises Refused and `ResultError` for what cannot be kept, ConfigError, StoreError.
    """
    request = {"kind": kind.value, "entry": dict(entry), "by": by, "why": why}
    if answers(data.socket):
        return asyncio.run(ask_service(data.socket, "register", request))
    bench = read_plan(bench_path())
    data.prepare()
    make = entry_maker(request, by, utc_now(), bench)
    with InstanceLock(data.lock):
        opened = open_store(data.store, utc_now)
        for notice in opened.notices:
            say(notice)
        return entered_text(enter_alone(opened.connection, make))


async def ask_service(socket: Path, name: str, request: Mapping[str, Any]) -> str:
    """One command to a running service; gives the sentence that answers it. Raises Refused."""
    async with _attached(socket) as client:
        if await _first(client, lambda watch: watch.answering) is None:
            raise Refused("The service of this bench does not answer: nothing was done.")
        reply = await client.command(name, **request)
    if not reply.ok:
        raise Refused(reply.text)
    return reply.text


def mass_now(socket: Path) -> float:
    """The steady mass that the service's balance shows, g. Raises Refused when there is none."""
    if not answers(socket):
        raise Refused("No service reads the balance: start it, or give the mass with an option.")
    return asyncio.run(_mass_now(socket))


async def _mass_now(socket: Path) -> float:
    async with _attached(socket) as client:
        seen = await _first(client, lambda watch: _steady_g(watch) is not None)
    mass_g = None if seen is None else _steady_g(seen)
    if mass_g is None:
        raise Refused("The balance shows no steady mass: wait for it, then try again.")
    return mass_g


async def first_watch(socket: Path, wanted: Callable[[Watch], bool], seconds: float) -> Watch | None:
    """The first picture of a running service that is wanted; None when it does not come in time."""
    async with _attached(socket) as client:
        return await _first(client, wanted, seconds)


def _steady_g(watch: Watch) -> float | None:
    picture = watch.snapshot
    return picture.mass.value_g if watch.answering and picture is not None and picture.mass.stable else None


@contextlib.asynccontextmanager
async def _attached(socket: Path) -> AsyncIterator[ServiceClient]:
    client = ServiceClient(socket, retry_s=0.1)
    watching = asyncio.create_task(client.run(), name="register client")
    try:
        yield client
    finally:
        watching.cancel()
        await asyncio.gather(watching, return_exceptions=True)


async def _first(
    client: ServiceClient, wanted: Callable[[Watch], bool], seconds: float = GREETING_S
) -> Watch | None:
    """The first picture that is wanted; None when it does not come in time."""
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            async for watch in client.changes():
                if wanted(watch):
                    return watch
    return None
