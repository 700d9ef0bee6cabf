"""The pressure transducer's zero from a running service: the mean of what it shows for a moment."""

from __future__ import annotations

import asyncio
from pathlib import Path

from logger.app.register import first_watch
from logger.core.run.commands import Refused
from logger.core.shift.zero import ZeroWatch
from logger.service.local_socket import answers

WATCH_S = 6.0


def zero_now(socket: Path) -> float:
    """Pa. Raises Refused without a service, with the suction on, or when the pressure does not rest."""
    if not answers(socket):
        raise Refused("No service reads the pressure transducer: start it, or give the zero with --zero.")
    return asyncio.run(_zero_now(socket))


async def _zero_now(socket: Path) -> float:
    watch = ZeroWatch()
    begun_s = asyncio.get_running_loop().time()
    await first_watch(
        socket,
        lambda seen: (
            seen.answering
            and seen.snapshot is not None
            and watch.add(
                asyncio.get_running_loop().time() - begun_s,
                seen.snapshot.pressure.dp_pa,
                seen.snapshot.run is None,
            )
        ),
        WATCH_S,
    )
    return watch.taken_pa()
