"""The one place for the system's signals: the first of them resolves a future, nothing else happens."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Coroutine, Sequence
from typing import Any

NAMES = ("SIGTERM", "SIGINT", "SIGHUP")


def signal_future() -> asyncio.Future[str]:
    """Resolves with the name of the first of SIGTERM, SIGINT, SIGHUP (those the system has)."""
    loop = asyncio.get_running_loop()
    stop: asyncio.Future[str] = loop.create_future()

    def on_signal(name: str) -> None:
        if not stop.done():
            stop.set_result(name)

    for name in NAMES:
        number = getattr(signal, name, None)
        if number is not None:
            with contextlib.suppress(NotImplementedError):
                loop.add_signal_handler(number, on_signal, name)
    return stop


async def until_signal(jobs: Sequence[Coroutine[Any, Any, None]]) -> str:
    """Runs the jobs side by side until a signal (its name) or until one fails (raised)."""
    stop = signal_future()
    tasks = [asyncio.create_task(job) for job in jobs]
    everything: list[asyncio.Future[Any]] = [stop, *tasks]
    done, _ = await asyncio.wait(everything, return_when=asyncio.FIRST_COMPLETED)
    name = stop.result() if stop in done else ""
    stop.cancel()
    await end_tasks(tasks)
    return name


async def end_tasks(tasks: Sequence[asyncio.Task[Any]]) -> None:
    """Cancels what still runs, waits for all, and raises the first real failure."""
    for task in tasks:
        task.cancel()
    for result in await asyncio.gather(*tasks, return_exceptions=True):
        if isinstance(result, Exception):
            raise result
