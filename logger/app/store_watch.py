"""The store's troubles on the service's screen. The one seam between the two threads."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from typing import Any

from logger.service.bench_service import BenchService
from logger.store.journal import Journal


def watch_store(journal: Journal, service: BenchService) -> None:
    """From now on the service shows what the store has to say; call it on the service's loop."""
    loop = asyncio.get_running_loop()
    standing = " ".join(journal.notices)

    def show(text: str | None) -> None:
        service.trouble = " ".join(part for part in (text, standing) if part)
        service.changed.set()

    def soon(call: Callable[[Any], None], value: str | None) -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended
            loop.call_soon_threadsafe(call, value)

    journal.on_trouble = lambda text: soon(show, text)
    journal.on_lost = lambda reason: soon(service.store_lost, reason)
    show(journal.trouble)
    journal.check_beside()
