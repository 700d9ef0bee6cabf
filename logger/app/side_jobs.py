"""Parts beside the run: when one fails it is logged, shown and started again, and the run goes on.

Readings, the tick and the permit are no such parts: without them there is no run, and the service ends it.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Awaitable, Callable

FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 60.0
GOOD_S = 30.0
"""A part that worked this long starts again at the shortest wait."""
_LOG = logging.getLogger("lastgrain.service")


async def keep_going(
    name: str,
    make: Callable[[], Awaitable[None]],
    report: Callable[[str, str], None],
    first_wait_s: float = FIRST_WAIT_S,
) -> None:
    """Runs `make()` again and again until cancelled. `report` gets the name and a sentence, empty when it works."""
    loop, wait_s = asyncio.get_running_loop(), first_wait_s
    while True:
        began_s = loop.time()
        recovered = loop.call_later(2 * wait_s, report, name, "")
        try:
            await make()
            return
        except Exception as error:
            recovered.cancel()
            _LOG.error("%s failed", name, exc_info=error)
            report(
                name, f"A part beside the run failed ({name}: {type(error).__name__}); it is started again."
            )
        finally:
            recovered.cancel()
        if loop.time() - began_s > GOOD_S:
            wait_s = first_wait_s
        await asyncio.sleep(wait_s)
        wait_s = min(2 * wait_s, LONGEST_WAIT_S)
